"""The README checked, and rewritten: `python -m tests.docs` runs every command in it and sets in what it prints."""
