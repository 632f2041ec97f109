"""From draws to what is stated of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.summary import drawn_interval
from fractionkit.quantities import Estimate

Array = NDArray[np.float64]


def estimates(draws: Array) -> list[Estimate]:
    """Mean and 95 % interval of each column of (D, n) draws of mass fractions."""
    return [Estimate(*ends) for ends in zip(*(part.tolist() for part in drawn_interval(draws)), strict=True)]


def spread(draws: Array) -> Estimate:
    """Mean and central 95 % interval of (D,) draws of something without bounds."""
    low, high = np.quantile(draws, [0.025, 0.975])
    return Estimate(float(draws.mean()), float(low), float(high))
