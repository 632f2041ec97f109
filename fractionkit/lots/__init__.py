"""Combining cuts: which to keep, and what becomes of the rest."""

from fractionkit.lots.choose import choose, meets
from fractionkit.lots.decide import Verdict, decide

__all__ = ["Verdict", "choose", "decide", "meets"]
