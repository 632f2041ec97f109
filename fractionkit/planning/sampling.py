"""Draws of scenarios: stratified, so that a hundred of them say what several hundred plain ones would."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def stratified(count: int, dimensions: int, rng: np.random.Generator) -> Array:
    """Standard normal draws (count, dimensions), one in each of ``count`` equally probable slices of every dimension.

    Latin hypercube sampling: McKay, Beckman & Conover, Technometrics 21 (1979) 239.
    """
    from scipy.special import ndtri

    slices = rng.permuted(np.tile(np.arange(count), (dimensions, 1)), axis=1).T
    return np.asarray(ndtri((slices + rng.uniform(0.01, 0.99, slices.shape)) / count), dtype=np.float64)


def central(values: Array, axis: int = 0) -> Array:
    """Median of scenarios between the ends of an interval that holds one more draw with 95 %: low, median, high (3, ...).

    The k-th of S draws in rising order stands at k/(S + 1), since a further draw is as likely to fall into any of the
    S + 1 gaps (prediction interval without a distribution: Hahn & Meeker, Statistical Intervals, section 5.4; number from
    memory). Quantiles between the first and the last draw would hold 93 % with a hundred of them.
    """
    return np.asarray(np.quantile(values, [0.025, 0.5, 0.975], axis=axis, method="weibull"), dtype=np.float64)


def truncated(mean: float, u: float, low: float, high: float, z: Array) -> Array:
    """Normal draws kept between ``low`` and ``high``, from standard normal draws ``z`` of the same shape."""
    from scipy.special import ndtr, ndtri

    if u <= 0.0:
        return np.full(z.shape, mean)
    below, above = ndtr((low - mean) / u), ndtr((high - mean) / u)
    return np.asarray(np.clip(mean + u * ndtri(below + (above - below) * ndtr(z)), low, high), dtype=np.float64)
