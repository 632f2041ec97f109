"""Smooth functions tabulated from few points: interpolation through Chebyshev's points, on an interval or a square.

A polynomial through points that crowd at the ends as (1 - cos(pi k/m))/2 do converges geometrically where a function is
smooth (Trefethen, Approximation Theory and Approximation Practice, SIAM 2013, chapter 8); it is evaluated by the
barycentric formula (Berrut and Trefethen, SIAM Rev. 46 (2004) 501). Where a liquid splits into two a boiling or dew
point has kinks: the polynomial is held against the function at other points, and where it fails nothing is saved.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def points(count: int) -> Array:
    """(count,) points of 0..1, both ends among them."""
    return np.asarray(0.5 * (1.0 - np.cos(np.pi * np.arange(count) / (count - 1))))


def through(count: int, at: Array) -> Array:
    """(A, count): from values at `points` to those of the polynomial through them at places ``at`` (A,)."""
    weight = (-1.0) ** np.arange(count)
    weight[[0, -1]] *= 0.5
    away = at[:, None] - points(count)
    met = away == 0.0
    found = weight / np.where(met, 1.0, away)
    found /= found.sum(axis=1, keepdims=True)
    return np.where(met.any(axis=1)[:, None], met, found)


def grid(axis: Array, dimensions: int) -> Array:
    """(A, 1) or (A, A, 2) points whose coordinates are all pairs of ``axis`` (A,)."""
    return np.stack(np.meshgrid(*[axis] * dimensions, indexing="ij"), axis=-1)


def tabulated(
    function: Callable[[Array], Array],
    axis: Array,
    counts: Sequence[int],
    checks: Array,
    known: Array,
    tolerance: Array,
) -> Array | None:
    """Values of ``function`` (..., d) -> (..., m) at `grid` of ``axis``; None where no polynomial does.

    counts : of points along a coordinate, tried in turn. checks : (B,) an axis too, at whose grid the values ``known``, (B, m)
    or (B, B, m), are to be met within ``tolerance`` (m,).
    """
    dimensions = known.ndim - 1
    for count in counts:
        values = function(grid(points(count), dimensions))
        found = _along(through(count, checks), values, dimensions)
        if (np.abs(found - known) <= tolerance).all():
            return _along(through(count, axis), values, dimensions)
    return None


def _along(matrix: Array, values: Array, dimensions: int) -> Array:
    """(A, c) times values (c, m) or, along both coordinates, (c, c, m)."""
    found = np.tensordot(matrix, values, axes=1)
    return found if dimensions == 1 else np.asarray(np.matmul(matrix, found))
