"""Commands: each parses, calls a room and prints."""
