"""One module for each page: its frozen context and its route."""
