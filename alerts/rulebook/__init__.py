"""The shipped rulebooks as data, and their strict loader."""
