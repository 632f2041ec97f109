"""When the readings of a run are at odds: which explanations are how probable, and what would tell them apart."""

from fractionkit.diagnosis.diagnose import diagnose, diagnose_evidence
from fractionkit.diagnosis.model import Candidate, Diagnosis, ReadingCheck

__all__ = ["Candidate", "Diagnosis", "ReadingCheck", "diagnose", "diagnose_evidence"]
