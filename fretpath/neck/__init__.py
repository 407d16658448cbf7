"""Where it is played."""
