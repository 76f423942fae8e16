"""What the readings mean, and who must know."""
