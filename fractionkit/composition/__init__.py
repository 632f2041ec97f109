"""What the readings of a run say of composition: evidence, the joint posterior of all cuts and their shared errors."""

from fractionkit.composition.correct import CorrectedRun, correct
from fractionkit.composition.evidence import Detection, Evidence
from fractionkit.composition.posterior import RunPosterior, fit_evidence

__all__ = ["CorrectedRun", "Detection", "Evidence", "RunPosterior", "correct", "fit_evidence"]
