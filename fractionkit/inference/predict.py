"""What the readings of a cut would be at a composition, and how the shared errors move them.

Boiling and dew points at the run's pressure are solved once on a table over the simplex (two and three components) and
interpolated: linearly on 2,049 points of one coordinate, bilinearly on 161 x 161 of two. With a second derivative of
100 K over the whole span that is an error of 3e-6 K and 5e-4 K; beside a light component's edge, where a dew curve is
steepest, 5e-3 K. The points follow from a few hundred that are solved (`chebyshev`), save where two liquids make kinks:
there every point is, of 81 x 81. A large error of the activity model moves a boiling
point not in proportion; its square is tabulated beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.chebyshev import grid, tabulated
from fractionkit.inference.nodes import fractions_from_cells
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

TABLE_POINTS = {2: 2049, 3: 81}
SMOOTH_POINTS = {2: 2049, 3: 161}  # where no kink asks for each of them to be solved
BEND_POINTS = {2: 129, 3: 11}
BEND_AT = 1.5  # standard deviations at which the second-order change is taken
BEND_LEAST = 0.03  # K
SMALL = 0.01  # standard deviations, of a difference that stands for a derivative
# The tables come from polynomials through so many points where these hold on a coarse grid: K, in temperature and its changes.
CHEBYSHEV = {2: (33, 65), 3: (17, 33)}
TOLERANCE, MOVED_TOLERANCE = 2e-3, 5e-3
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
    return grid(np.linspace(0.0, 1.0, points), n - 1)


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


#: Mole fractions of one phase, the temperature and mole fractions of the other -> columns of a table.
Columns = Callable[[Array, Array, Array], Array]


@lru_cache(maxsize=KEPT)
def dew_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Dew point of vapour having the mass fractions of a cut: the head temperature while such a vapour is taken."""
    errors = boiling_errors(mixture)

    def first(vapour: Array, temperature: Array, liquid: Array) -> Array:
        del vapour
        moved = mixture.dew_point_errors(temperature, liquid)[..., errors]
        return _joined(temperature, mixture.dew_slope(temperature, liquid), moved)

    def second(vapour: Array, temperature: Array, liquid: Array) -> Array:
        del vapour
        return _dew_bends(mixture, temperature, liquid, errors)

    return _table(mixture, lambda m, y: m.dew_point(y, pressure), errors, first, second)


@lru_cache(maxsize=KEPT)
def bubble_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Bubble point of liquid of the cut's composition: the first drop of a boiling-range test."""
    errors = boiling_errors(mixture)

    def first(liquid: Array, temperature: Array, vapour: Array) -> Array:
        moved = mixture.bubble_point_errors(liquid, temperature, vapour)[..., errors]
        return _joined(temperature, mixture.bubble_slope(liquid, temperature, vapour), moved)

    def second(liquid: Array, temperature: Array, vapour: Array) -> Array:
        return _bubble_bends(mixture, liquid, temperature, vapour, errors)

    return _table(mixture, lambda m, x: m.bubble_point(x, pressure), errors, first, second)


def _joined(temperature: Array, slope: Array, moved: Array) -> Array:
    return np.concatenate([temperature[..., None], slope[..., None], moved], axis=-1)


def _table(
    mixture: Mixture,
    solve: Callable[[Mixture, Array], tuple[Array, Array]],
    errors: NDArray[np.intp],
    first: Columns,
    second: Columns,
) -> BoilingTable:
    """Temperatures with their changes of first and, where it reaches `BEND_LEAST`, second order.

    solve : of a mixture and mole fractions x (..., n), temperature (...) and mole fractions (..., n) of the other phase.
    first : (N, 2 + q) columns of the table. second : (N, q) half the second derivatives by each error.
    """
    n, q = mixture.n, len(errors)
    checks = np.linspace(0.0, 1.0, BEND_POINTS[n])

    def columns(at: Array) -> Array:
        x = mixture.mole_fractions(fractions_from_cells(at)).reshape(-1, n)
        phases = (x, *solve(mixture, x))
        return np.concatenate([first(*phases), second(*phases)], axis=1).reshape(*at.shape[:-1], -1)

    known = columns(grid(checks, n - 1))
    tolerance = np.array([TOLERANCE] + [MOVED_TOLERANCE] * (1 + 2 * q))
    values = tabulated(columns, np.linspace(0.0, 1.0, SMOOTH_POINTS[n]), CHEBYSHEV[n], checks, known, tolerance)
    if values is None:
        return _kinked(mixture, solve, errors, first)
    size = np.abs(known[..., 2 + q :]).reshape(-1, q).max(axis=0)
    bending = np.flatnonzero(size > BEND_LEAST)
    kept = np.concatenate([np.arange(2 + q), 2 + q + bending])
    return BoilingTable(np.ascontiguousarray(values[..., kept]), errors, errors[bending])


def _kinked(
    mixture: Mixture,
    solve: Callable[[Mixture, Array], tuple[Array, Array]],
    errors: NDArray[np.intp],
    first: Columns,
) -> BoilingTable:
    """`_table` where two liquids make kinks: every point solved, and bends from temperatures `BEND_AT` deviations either side.

    The latter on a coarse grid.
    """
    n = mixture.n
    fine, coarse = (grid_of(n, points[n]) for points in (TABLE_POINTS, BEND_POINTS))
    x = mixture.mole_fractions(fractions_from_cells(fine))
    values = [first(x, *solve(mixture, x))]
    x = mixture.mole_fractions(fractions_from_cells(coarse))
    middle, bending = solve(mixture, x)[0], []
    for i in errors.tolist():
        if mixture.model_errors[i].kind == "vapour_pressure":
            continue
        step = BEND_AT * np.eye(len(mixture.model_errors))[i]
        up, down = (solve(mixture.perturbed(move), x)[0] for move in (step, -step))
        curve = (up + down - 2.0 * middle) / (2.0 * BEND_AT**2)
        if np.abs(curve).max() > BEND_LEAST:
            bending.append(i)
            values.append(interpolated(curve[..., None], fine))
    return BoilingTable(np.concatenate(values, axis=-1), errors, np.array(bending, dtype=np.intp))


def _dew_bends(mixture: Mixture, temperature: Array, liquid: Array, errors: NDArray[np.intp]) -> Array:
    """Half the second derivative (N, q) of dew points (N,) by each error, from the change of the first one.

    With an error the liquid x (N, n) changes by d = d(ln x) as the dew equations say: d + J d + s dT = -e, sum x d = 0,
    J = d ln(gamma)/d ln(x), s = d ln(gamma p)/dT, e the error of ln(gamma p).
    """
    count, n = liquid.shape
    state = mixture.constants.activity.evaluate(liquid, temperature, jacobian=True)
    assert state.slope_x is not None
    matrix = np.zeros((count, n + 1, n + 1))
    matrix[:, :n, :n] = state.slope_x * liquid[:, None, :] + np.eye(n)
    matrix[:, :n, n] = state.slope_t + mixture.dln_psat_dT(temperature)
    matrix[:, n, :n] = liquid
    wrong = np.zeros((count, n + 1, len(errors)))
    wrong[:, :n] = -np.stack(_moved_gammas(mixture, liquid, temperature, state.ln_gamma, errors), axis=-1)
    change = np.linalg.solve(matrix, wrong).transpose(2, 0, 1)  # (q, N, n + 1)
    first = mixture.dew_point_errors(temperature, liquid)[:, errors]
    moved = liquid * np.exp(SMALL * change[..., :n])
    moved /= moved.sum(axis=-1, keepdims=True)
    after = mixture.dew_point_errors(temperature + SMALL * change[..., n], moved)[..., errors]
    return np.asarray((np.diagonal(after, axis1=0, axis2=2) - first) / (2.0 * SMALL))


def _bubble_bends(
    mixture: Mixture, liquid: Array, temperature: Array, vapour: Array, errors: NDArray[np.intp]
) -> Array:
    """As `_dew_bends`, of bubble points: the liquid stays, the vapour changes as gamma p does."""
    first = mixture.bubble_point_errors(liquid, temperature, vapour)[:, errors]
    state = mixture.constants.activity.evaluate(liquid, temperature)
    slope = state.slope_t + mixture.dln_psat_dT(temperature)
    wrong = np.stack(_moved_gammas(mixture, liquid, temperature, state.ln_gamma, errors))  # (q, N, n)
    moved = vapour * np.exp(SMALL * (wrong + slope * first.T[..., None]))
    moved /= moved.sum(axis=-1, keepdims=True)
    after = mixture.bubble_point_errors(liquid, temperature + SMALL * first.T, moved)[..., errors]
    return np.asarray((np.diagonal(after, axis1=0, axis2=2) - first) / (2.0 * SMALL))


def _moved_gammas(
    mixture: Mixture, liquid: Array, temperature: Array, ln_gamma: Array, errors: NDArray[np.intp]
) -> list[Array]:
    """Change of ln gamma (N, n) by each of the errors; 0 by those of vapour pressures, which bend nothing."""
    steps = np.eye(len(mixture.model_errors))[errors]
    moved = [mixture.perturbed(step).constants.activity.evaluate(liquid, temperature).ln_gamma for step in steps]
    return [part - ln_gamma for part in moved]
