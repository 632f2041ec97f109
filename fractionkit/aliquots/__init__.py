"""Series of small samples: composition against time, and whether it has levelled off."""

from fractionkit.aliquots.follow import follow
from fractionkit.aliquots.model import Followed

__all__ = ["Followed", "follow"]
