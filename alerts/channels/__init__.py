"""One module for each way to reach a person."""
