"""Which measurement next: what a reading can tell before it is taken, and what one more would add to a run."""

from fractionkit.measurements.next import next_measurements

__all__ = ["next_measurements"]
