"""Combining cuts: which to keep, how much of each, and what becomes of the rest."""

from fractionkit.lots.choose import choose, meets
from fractionkit.lots.combine import Combination, Wanted, combine
from fractionkit.lots.decide import Verdict, decide
from fractionkit.lots.frontier import frontier
from fractionkit.lots.material import Material, together
from fractionkit.lots.takes import Takes, takes

__all__ = [
    "Combination",
    "Material",
    "Takes",
    "Verdict",
    "Wanted",
    "choose",
    "combine",
    "decide",
    "frontier",
    "meets",
    "takes",
    "together",
]
