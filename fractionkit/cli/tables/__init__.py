"""The answers of the commands on a terminal."""
