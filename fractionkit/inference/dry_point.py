"""The dry point of a boiling-range test: where the last drop leaves the bottom of the flask.

A cut boiled away in a flask is a differential distillation: d n_i/dt = -K_i n_i, K_i = y_i/x_i (Rayleigh, Phil. Mag. 4
(1902) 521). When the last drop goes, what is left is spread as vapour and film over the flask, about `LEFT` of the moles
charged. By which factor `LEFT_SPREAD` depends on the flask, and is the same for all cuts tested in it; by a lesser one,
`LEFT_FRESH`, it differs from test to test with the heating (common practice, no source). The thermometer shows the bubble
point of that: in a wide boiling mixture half as much again is up to 6 K. Not above the heaviest component's boiling point,
whatever the flask: in x the dry point lies above the dew point by 2.3 times the way from bubble to dew point at a relative
volatility of 1.5, by 0.66 times at 4 (equimolar, 2 % left; closed form).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.nodes import fractions_from_cells
from fractionkit.inference.predict import (
    KEPT,
    TABLE_POINTS,
    Boiling,
    boiling_errors,
    cells_from_fractions,
    grid_of,
    interpolated,
)
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

DRY_POINT = "dry point"  # name of the error that all tests in one flask share
LEFT, LEFT_SPREAD = 0.02, float(np.log(2.0))  # moles left; one standard deviation of their logarithm
LEFT_FRESH = float(np.log(1.5))  # one standard deviation from test to test
DRY_REPEAT = 0.5  # K, of one dry point besides the thermometer's: it is read while it runs away (common practice)
STEPS, NEWTON_STEPS = 8, 6  # to the greatest part left, and on to each of the others a quarter as many
AWAY = np.array([2.0, 1.0, 0.0, -1.0, -2.0])  # parts left that are looked at, in standard deviations, and their weights
WEIGHT = np.exp(-0.5 * AWAY**2) / np.exp(-0.5 * AWAY**2).sum()


@dataclass(frozen=True)
class Dry(Boiling):
    """Dry points, K, with `LEFT` of the moles left.

    by_left : (...) change for one standard deviation of the logarithm of what is left, bent : (..., 1) by its square. bare :
    (...) standard deviation of what those two leave unsaid: a wide boiling mixture's dry point stays at its heaviest
    component's boiling point, and falls steeply once more is left than there is of that.
    """

    by_left: Array
    bare: Array

    def variance(self) -> Array:
        """K2 (...), of one test among others in the same flask: what is left differs from test to test."""
        part = (LEFT_FRESH / LEFT_SPREAD) ** 2
        return np.asarray(part * (self.by_left**2 + 4.0 * self.bent[..., 0] ** 2) + self.bare**2)


@dataclass(frozen=True)
class DryTable:
    """Dry points over compositions at one pressure.

    values : (points, ..., 5 + q) K: temperature, its change by ln pressure, by one standard deviation of what is left and by
    the square of that, what these leave unsaid, then the change by each of the ``errors`` (q,), which are indices into
    `Mixture.model_errors`.
    """

    values: Array
    errors: NDArray[np.intp]

    def at(self, coordinates: Array) -> Dry:
        """Interpolate at (..., n - 1) cell coordinates."""
        return _parted(interpolated(self.values, coordinates))


@dataclass(frozen=True)
class DrySolver:
    """`DryTable` without the table, for four and more components."""

    mixture: Mixture
    pressure: float
    errors: NDArray[np.intp]

    def at(self, coordinates: Array) -> Dry:
        """Solve at (..., n - 1) mass fractions of the components but the last."""
        return _parted(_solved(self.mixture, self.pressure, fractions_from_cells(coordinates), self.errors))


def _parted(values: Array) -> Dry:
    return Dry(values[..., 0], values[..., 5:], values[..., 3:4], values[..., 1], values[..., 2], values[..., 4])


@lru_cache(maxsize=KEPT)
def dry_table(mixture: Mixture, pressure: float) -> DryTable | DrySolver:
    """Dry points of liquids at ``pressure``: tabulated for two and three components."""
    errors = boiling_errors(mixture)
    if mixture.n not in TABLE_POINTS:
        return DrySolver(mixture, pressure, errors)
    grid = grid_of(mixture.n, TABLE_POINTS[mixture.n])
    w = fractions_from_cells(grid)
    table = _ln_k(mixture, mixture.mole_fractions(w), pressure)

    def ln_k(x: Array) -> Array:
        return interpolated(table, cells_from_fractions(mixture.mass_fractions(x)))

    return DryTable(_solved(mixture, pressure, w, errors, ln_k), errors)


def dry_points(mixture: Mixture, x: Array, pressure: float, spread: Array | float = 0.0) -> tuple[Array, Array]:
    """Dry points (...) in K of liquids with mole fractions ``x`` (..., n), and what is left there, (..., n).

    spread : (...) standard deviations of the logarithm of what is left.
    """
    ln_left = np.broadcast_to(np.log(LEFT) + LEFT_SPREAD * np.asarray(spread), x.shape[:-1])
    left = boiled_down(x, ln_left, lambda at: _ln_k(mixture, at, pressure), STEPS)
    return mixture.bubble_point(left, pressure)[0], left


def boiled_down(x: Array, ln_left: Array | float, ln_k: Callable[[Array], Array], steps: int) -> Array:
    """Mole fractions (..., n) of what a differential distillation of ``x`` (..., n) leaves.

    ln_left : (...) logarithm of the part of the moles that is left. ln_k : x -> ln(y/x), both (..., n). Over a step the K
    are those at its middle, so that it is exact at constant relative volatilities, and no component is lost.
    """
    for _ in range(steps):
        middle = _step(x, 0.5 * np.asarray(ln_left) / steps, ln_k(x))
        x = _step(x, np.asarray(ln_left) / steps, ln_k(middle))
    return x


def _step(x: Array, ln_left: Array, ln_k: Array) -> Array:
    """x_i exp(-K_i t) with t such that exp(ln_left) is left: the sum is convex in t, Newton's method climbs to it."""
    k = np.exp(ln_k - ln_k.max(axis=-1, keepdims=True))
    left = np.exp(np.broadcast_to(ln_left, x.shape[:-1]))
    time = np.zeros(x.shape[:-1])
    for _ in range(NEWTON_STEPS):
        kept = x * np.exp(-k * time[..., None])
        time = time + (kept.sum(axis=-1) - left) / (k * kept).sum(axis=-1)
    kept = x * np.exp(-k * time[..., None])
    return np.asarray(kept / kept.sum(axis=-1, keepdims=True))


def _ln_k(mixture: Mixture, x: Array, pressure: float) -> Array:
    """ln(y_i/x_i) (..., n) at the bubble point, also of components that are not there."""
    T = mixture.bubble_point(x, pressure)[0]
    return np.asarray(mixture.ln_psat(T) + mixture.ln_gamma(x, T) - np.log(pressure))


def _solved(
    mixture: Mixture, pressure: float, w: Array, errors: NDArray[np.intp], ln_k: Callable[[Array], Array] | None = None
) -> Array:
    """Values as `DryTable` has them, (..., 5 + q), of liquids with mass fractions ``w`` (..., n).

    The changes by what is left are those of least squares through the dry point itself, over all parts left (`AWAY`).
    """
    find = ln_k or (lambda x: _ln_k(mixture, x, pressure))
    left = [boiled_down(mixture.mole_fractions(w), np.log(LEFT) + AWAY[0] * LEFT_SPREAD, find, STEPS)]
    for _ in AWAY[1:]:
        left.append(boiled_down(left[-1], -LEFT_SPREAD, find, STEPS // 4))
    middle = left[len(AWAY) // 2]
    temperature, vapour = mixture.bubble_point(middle, pressure)
    change = np.stack([mixture.bubble_point(part, pressure)[0] - temperature for part in left], axis=-1)
    by_left = change @ (WEIGHT * AWAY) / (WEIGHT @ AWAY**2)
    bent = change @ (WEIGHT * AWAY**2) / (WEIGHT @ AWAY**4)
    unsaid = change - by_left[..., None] * AWAY - bent[..., None] * AWAY**2
    moved = mixture.bubble_point_errors(middle, temperature, vapour)[..., errors]
    slope = mixture.bubble_slope(middle, temperature, vapour)
    columns = [temperature, slope, by_left, bent, np.sqrt(unsaid**2 @ WEIGHT)]
    return np.concatenate([np.stack(columns, axis=-1), moved], axis=-1)
