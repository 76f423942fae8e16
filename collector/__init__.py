"""What was measured: how it arrives and where it is kept."""
