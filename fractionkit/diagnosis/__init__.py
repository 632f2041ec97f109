"""When the readings of a run are at odds: which explanations are how probable, and what would tell them apart."""

from fractionkit.diagnosis.diagnose import check_readings, diagnose, diagnose_evidence
from fractionkit.diagnosis.model import Candidate, Cause, Diagnosis, ReadingCheck

__all__ = ["Candidate", "Cause", "Diagnosis", "ReadingCheck", "check_readings", "diagnose", "diagnose_evidence"]
