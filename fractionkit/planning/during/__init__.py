"""Help during a run: the plan's scenarios weighted by what has been read."""
