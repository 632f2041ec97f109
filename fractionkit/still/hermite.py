"""Cubic interpolation of amounts between the points of a distillation, by value and rate at both ends."""

from __future__ import annotations

import numpy as np

from fractionkit.still.equilibrium import Array

BISECTIONS = 52


def value(y0: Array, y1: Array, slope0: Array, slope1: Array, step: Array, part: Array) -> Array:
    """Cubic Hermite value at ``part`` (0 to 1) of an interval of length ``step`` with end values and slopes."""
    q = 1.0 - part
    curve = q * step * slope0 - part * step * slope1 + (part - q) * (y1 - y0)
    return np.asarray(q * y0 + part * y1 + part * q * curve)


def locate(along: Array, curve: Array, rate: Array, targets: Array) -> tuple[Array, Array]:
    """Interval (S, C) and part of it at which rising ``curve`` (S, K) over ``along`` takes the ``targets`` (S, C).

    Bisection on the cubic, which is exact to the last digits and needs no assumption beyond opposite signs at the ends.
    """
    rows = np.arange(len(curve))[:, None]
    last = curve.shape[1] - 1
    index = np.clip((curve[:, None, :] < targets[..., None]).sum(axis=-1) - 1, 0, max(last - 1, 0))
    step = along[rows, index + 1] - along[rows, index]
    ends = (curve[rows, index], curve[rows, index + 1], rate[rows, index], rate[rows, index + 1], step)
    low, high = np.zeros(targets.shape), np.ones(targets.shape)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        short = value(*ends, middle) < targets
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    # a target at or beyond an end is that end itself, not the last bisection beside it
    part = np.where(targets >= ends[1], 1.0, np.where(targets <= ends[0], 0.0, 0.5 * (low + high)))
    return index, part
