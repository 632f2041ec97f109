"""The assessed run: all rooms together on one run sheet."""

from fractionkit.assessment.assess import assess
from fractionkit.assessment.model import Assessment

__all__ = ["Assessment", "assess"]
