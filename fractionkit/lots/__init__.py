"""Combining cuts: which to keep, and what becomes of the rest."""

from fractionkit.lots.choose import choose, meets
from fractionkit.lots.decide import Verdict, decide
from fractionkit.lots.material import Material, together

__all__ = ["Material", "Verdict", "choose", "decide", "meets", "together"]
