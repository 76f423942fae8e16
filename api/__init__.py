"""What people see and do."""
