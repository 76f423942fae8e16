"""One module for each payload format that can be read."""
