"""Series of small samples: composition against time, and whether it has levelled off."""

from fractionkit.aliquots.follow import follow
from fractionkit.aliquots.model import Approach, Band, Followed, Level

__all__ = ["Approach", "Band", "Followed", "Level", "follow"]
