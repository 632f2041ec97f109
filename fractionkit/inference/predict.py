"""What the readings of a cut would be at a composition, and how the shared errors move them.

Boiling and dew points at the run's pressure are solved once on a table over the simplex (two and three components) and
interpolated: linearly on 2,049 points of one coordinate, bilinearly on 81 x 81 of two. With a second derivative of
100 K over the whole span that is an error of 3e-6 K and 2e-3 K. A large error of the activity model moves a boiling
point not in proportion; its square is tabulated beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.nodes import fractions_from_cells
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

TABLE_POINTS = {2: 2049, 3: 81}
BEND_POINTS = {2: 129, 3: 11}
BEND_AT = 1.5  # standard deviations at which the second-order change is taken
BEND_LEAST = 0.03  # K
KEPT = 16  # tables of one mixture at one pressure: the same run is fitted again where explanations are compared


@dataclass(frozen=True)
class Boiling:
    """What a boiling table says at some points: K.

    temperature : (...); moved : (..., q) change for one standard deviation of each error, first order; bent : (..., r)
    second order, for the errors that have one; by_pressure : (...) change for one unit of ln pressure.
    """

    temperature: Array
    moved: Array
    bent: Array
    by_pressure: Array


@dataclass(frozen=True)
class BoilingTable:
    """Temperature of a phase change over compositions at one pressure.

    values : (points, ..., 2 + q + r) K: temperature, its change by ln pressure, then by each of the ``errors`` (q,) and,
        quadratic, by each of the ``bending`` (r,); both are indices into `Mixture.model_errors`.
    """

    values: Array
    errors: NDArray[np.intp]
    bending: NDArray[np.intp]

    def at(self, coordinates: Array) -> Boiling:
        """Interpolate at (..., n - 1) cell coordinates."""
        found = interpolated(self.values, coordinates)
        last = 2 + len(self.errors)
        return Boiling(found[..., 0], found[..., 2:last], found[..., last:], found[..., 1])


def interpolated(values: Array, coordinates: Array) -> Array:
    """Linear interpolation of values (P, ..., m) on equal steps of 0..1, at coordinates (..., 1) or (..., 2): (..., m)."""
    size = values.shape[0]
    position = coordinates * (size - 1)
    cell = np.clip(position.astype(np.intp), 0, size - 2)
    share = position - cell
    if coordinates.shape[-1] == 1:
        i, s = cell[..., 0], share
        return np.asarray((1.0 - s) * values[i] + s * values[i + 1])
    i, j = cell[..., 0], cell[..., 1]
    s, t = share[..., :1], share[..., 1:]
    found = (1.0 - s) * ((1.0 - t) * values[i, j] + t * values[i, j + 1])
    return np.asarray(found + s * ((1.0 - t) * values[i + 1, j] + t * values[i + 1, j + 1]))


def cells_from_fractions(w: Array) -> Array:
    """(..., n) mass fractions -> (..., n - 1) coordinates, the inverse of `fractions_from_cells` for two or three."""
    a = w[..., :1]
    if w.shape[-1] == 2:
        return a
    rest = 1.0 - a
    return np.concatenate([a, np.where(rest > 0.0, w[..., 1:2] / np.where(rest > 0.0, rest, 1.0), 0.5)], axis=-1)


def boiling_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a boiling temperature."""
    return _indices(mixture, ("vapour_pressure", "activity", "activity_asymmetry"))


def density_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a density."""
    return _indices(mixture, ("density", "excess_volume"))


def index_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a refractive index; the volumes come from the densities."""
    return _indices(mixture, ("density", "excess_volume", "refractive_index", "refraction_rule"))


def _indices(mixture: Mixture, kinds: tuple[str, ...]) -> NDArray[np.intp]:
    return np.array([i for i, error in enumerate(mixture.model_errors) if error.kind in kinds], dtype=np.intp)


def grid_of(n: int, points: int) -> Array:
    """Cell coordinates of a table, (points, n - 1) or (points, points, n - 1)."""
    axis = np.linspace(0.0, 1.0, points)
    return axis[:, None] if n == 2 else np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1)


@dataclass(frozen=True)
class BoilingSolver:
    """`BoilingTable` without the table, for four and more components: solved point by point.

    solve : mixture and mole fractions (..., n) -> temperature, its first-order changes (..., q) and by ln pressure.
    """

    mixture: Mixture
    errors: NDArray[np.intp]
    solve: Callable[[Array], tuple[Array, Array, Array]]
    bending: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def at(self, coordinates: Array) -> Boiling:
        """Solve at (..., n - 1) mass fractions of the components but the last."""
        temperature, moved, slope = self.solve(self.mixture.mole_fractions(fractions_from_cells(coordinates)))
        return Boiling(temperature, moved[..., self.errors], np.zeros((*temperature.shape, 0)), slope)


def dew_solver(mixture: Mixture, pressure: float) -> BoilingSolver:
    """As `dew_table`, for any number of components."""

    def solve(vapour: Array) -> tuple[Array, Array, Array]:
        temperature, liquid = mixture.dew_point(vapour, pressure)
        return temperature, mixture.dew_point_errors(temperature, liquid), mixture.dew_slope(temperature, liquid)

    return BoilingSolver(mixture, boiling_errors(mixture), solve)


def bubble_solver(mixture: Mixture, pressure: float) -> BoilingSolver:
    """As `bubble_table`, for any number of components."""

    def solve(x: Array) -> tuple[Array, Array, Array]:
        temperature, vapour = mixture.bubble_point(x, pressure)
        moved = mixture.bubble_point_errors(x, temperature, vapour)
        return temperature, moved, mixture.bubble_slope(x, temperature, vapour)

    return BoilingSolver(mixture, boiling_errors(mixture), solve)


@lru_cache(maxsize=KEPT)
def dew_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Dew point of vapour having the mass fractions of a cut: the head temperature while such a vapour is taken."""
    errors = boiling_errors(mixture)
    grid = grid_of(mixture.n, TABLE_POINTS[mixture.n])
    temperature, liquid = mixture.dew_point(mixture.mole_fractions(fractions_from_cells(grid)), pressure)
    moved = mixture.dew_point_errors(temperature, liquid)[..., errors]
    slope = mixture.dew_slope(temperature, liquid)
    return _table(mixture, lambda m, x: m.dew_point(x, pressure)[0], errors, grid, temperature, slope, moved)


@lru_cache(maxsize=KEPT)
def bubble_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Bubble point of liquid of the cut's composition: the first drop of a boiling-range test."""
    errors = boiling_errors(mixture)
    grid = grid_of(mixture.n, TABLE_POINTS[mixture.n])
    liquid = mixture.mole_fractions(fractions_from_cells(grid))
    temperature, vapour = mixture.bubble_point(liquid, pressure)
    moved = mixture.bubble_point_errors(liquid, temperature, vapour)[..., errors]
    slope = mixture.bubble_slope(liquid, temperature, vapour)
    return _table(mixture, lambda m, x: m.bubble_point(x, pressure)[0], errors, grid, temperature, slope, moved)


def _table(
    mixture: Mixture,
    solve: Callable[[Mixture, Array], Array],
    errors: NDArray[np.intp],
    grid: Array,
    temperature: Array,
    slope: Array,
    moved: Array,
) -> BoilingTable:
    """Add the second-order change by each activity error, from the temperatures `BEND_AT` deviations either side.

    Solved on a coarse grid, for it is smooth; an error that never bends the temperature by `BEND_LEAST` is left out.
    """
    coarse = grid_of(mixture.n, BEND_POINTS[mixture.n])
    x = mixture.mole_fractions(fractions_from_cells(coarse))
    middle = solve(mixture, x)
    bending, bent = [], []
    for i in errors.tolist():
        if mixture.model_errors[i].kind == "vapour_pressure":
            continue
        step = BEND_AT * np.eye(len(mixture.model_errors))[i]
        up, down = solve(mixture.perturbed(step), x), solve(mixture.perturbed(-step), x)
        curve = (up + down - 2.0 * middle) / (2.0 * BEND_AT**2)
        if np.abs(curve).max() > BEND_LEAST:
            bending.append(i)
            bent.append(interpolated(curve[..., None], grid))
    values = np.concatenate([temperature[..., None], slope[..., None], moved, *bent], axis=-1)
    return BoilingTable(values, errors, np.array(bending, dtype=np.intp))
