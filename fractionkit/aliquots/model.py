"""A followed series of aliquots: what report, picture and command read. Mass fractions 0-1, times in s, SI."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.sheets.aliquots import AliquotSeries

Array = NDArray[np.float64]
Verdict = Literal["levelled off", "still moving", "undecided"]
VERDICTS: dict[int, Verdict] = {1: "levelled off", -1: "still moving", 0: "undecided"}


@dataclass(frozen=True)
class Band:
    """Mean and ends of a 95 % interval, arrays of one shape."""

    mean: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class Approach:
    """A first-order approach w = plateau + amplitude exp(-rate t), fitted to the whole series.

    time_constant : s, estimate with its 95 % interval. level_time : s, when the change per interval fell, or will fall,
    below the tolerance, with its 95 % interval; None without a tolerance. curve : (K,) the fit at the samples' times,
    as mass fractions up to a constant. scatter : least chi-squared over its degrees of freedom; scatter_chance :
    probability of as much, were the stated repeatability true.
    """

    time_constant: tuple[float, float, float]
    level_time: tuple[float, float, float] | None
    curve: Array
    scatter: float
    scatter_chance: float


@dataclass(frozen=True)
class Level:
    """Whether the series has levelled off.

    verdict : of the last look. shown_at : the first look from which on all said "levelled off", None where the last
    does not. window : (first, last) sample of the last look. change, half_width : per interval there. plateau : level
    of the followed component over the window (mean, low, high), the shared errors in it; None unless levelled off.
    verdicts : (K,) -1, 0, 1 of every look. needed : samples that a look must go back over to decide; None where it has
    them.
    """

    verdict: Verdict
    tolerance: float
    interval: float
    shown_at: int | None
    window: tuple[int, int]
    change: float
    half_width: float
    plateau: tuple[float, float, float] | None
    verdicts: NDArray[np.int8]
    needed: int | None


@dataclass(frozen=True)
class Followed:
    """Composition of every aliquot and what became of it in time.

    composition : (K, n) level, its band holding the errors that all readings share. change : (K,) of the followed
    component since the first sample: an error alike in all readings drops out of it. followed : its place among the components.
    """

    series: AliquotSeries
    composition: Band
    change: Band
    followed: int
    level: Level | None
    approach: Approach | None
    text: tuple[str, ...]
    warnings: tuple[str, ...]
