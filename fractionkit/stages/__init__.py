"""The user's own still: its effective number of stages and hold-up, from a run."""
