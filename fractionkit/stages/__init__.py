"""The user's own still: effective stages and hold-up from a run, and the still's equation as evidence on its cuts."""

from fractionkit.stages.fenske import total_reflux_stages
from fractionkit.stages.fitting import fit, fitted
from fractionkit.stages.model import FittedStill, StillFit

__all__ = ["FittedStill", "StillFit", "fit", "fitted", "total_reflux_stages"]
