"""Which measurement next: what a reading can tell before it is taken, and what one more would add to a run."""

from fractionkit.measurements.next import NextMeasurement, next_measurements
from fractionkit.measurements.reach import PairPlan, plan_pairs

__all__ = ["NextMeasurement", "PairPlan", "next_measurements", "plan_pairs"]
