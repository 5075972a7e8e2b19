"""What can be held against figures that somebody quotes."""
