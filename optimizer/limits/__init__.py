"""One file a limit: its value, what is allowed, how much room is left, what would serve."""
