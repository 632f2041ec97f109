"""Volatilities of a mixture fitted by polynomials at fixed pressure, so that a column of many scenarios costs little."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still.equilibrium import Array, Equilibrium, unit

DEGREES = {1: (0,), 2: (4, 7, 10, 14, 18, 24, 30), 3: (4, 6, 8, 10, 12), 4: (4, 6, 8), 5: (3, 4, 5, 6)}
"""Total degrees tried, by the number of components."""

NEARLY_ABSENT = 1e-9
"""Fraction at which the K-value of an absent component is sampled."""


class FittedVolatility:
    """Polynomials in the liquid composition for ln K_i/K_n and 1/T of one mixture, or of S mixtures (one a scenario).

    ln K_i/K_n at the bubble point is a smooth function on the simplex; it is fitted by least squares in products of
    Chebyshev polynomials, the total degree raised until check points between the samples agree.

    Parameters
    ----------
    mixtures : one mixture or a sequence of S, with ``bubble_point``.
    pressure : Pa, one number or (S,); a fit holds at this pressure only.
    goal : largest error of y at the check points that ends the search for the degree.

    Attributes
    ----------
    error_y, error_T : largest error at the check points, mole fraction and K. Where ``goal`` cannot be met with the
        highest degree, the error is simply larger: look.
    """

    def __init__(self, mixtures: Equilibrium | Sequence[Equilibrium], pressure: ArrayLike, *, goal: float = 1e-7) -> None:
        one = hasattr(mixtures, "bubble_point")
        members = [mixtures] if one else list(mixtures)  # type: ignore[arg-type, list-item]
        if not members:
            raise InputError(Fault(None, "one or more mixtures", column="mixtures"))
        first = members[0]
        n = getattr(first, "n", None)
        if n not in DEGREES:
            raise InputError(Fault(str(n), f"a mixture of 1 to {max(DEGREES)} components with attribute n", column="mixtures"))
        self.n = int(n)
        self.molar_mass = np.asarray(getattr(first, "molar_mass", np.ones(self.n)), dtype=np.float64)
        if hasattr(first, "substances"):
            self.substances = first.substances
        self.pressure = np.broadcast_to(np.asarray(pressure, dtype=np.float64), (len(members),))
        self._shared = one or len(members) == 1
        self._fit(members, goal)

    def _fit(self, members: list[Equilibrium], goal: float) -> None:
        checks = _inner(self.n)
        truth, T_true = _sample(members, self.pressure, checks)
        y_true = unit(checks[:, None, :] * np.exp(truth))
        for degree in DEGREES[self.n]:
            self._powers = np.array(
                [p for p in product(range(degree + 1), repeat=self.n - 1) if sum(p) <= degree], dtype=np.int64
            ).reshape(-1, self.n - 1)
            points = _nodes(self.n, degree + 2)
            values, T = _sample(members, self.pressure, points)
            basis = self._basis(points)
            solved, *_ = np.linalg.lstsq(basis, values.reshape(len(points), -1), rcond=None)
            self._volatility = np.moveaxis(solved.reshape(-1, *values.shape[1:]), 0, 1)
            found = np.moveaxis(basis_times(self._basis(checks)[None], self._volatility), 0, 1)
            self.error_y = float(np.abs(unit(checks[:, None, :] * np.exp(found)) - y_true).max())
            if self.error_y <= goal:
                break
        self._fit_temperature(points, values, T)
        fitted_T = self._temperature(self._basis(checks)[:, None], _log_total(checks[:, None], found))
        self.error_T = float(np.abs(fitted_T - T_true).max())

    def _fit_temperature(self, points: Array, values: Array, T: Array) -> None:
        """1/T is close to a parabola in ln sum_i x_i K_i/K_n (Clausius and Clapeyron); polynomials take the rest."""
        basis = self._basis(points)
        log_total = _log_total(points[:, None], values)
        rows = []
        for s in range(T.shape[1]):
            columns = np.column_stack([log_total[:, s], log_total[:, s] ** 2, basis])
            rows.append(np.linalg.lstsq(columns, 1.0 / T[:, s], rcond=None)[0])
        self._inverse_T = np.array(rows)

    def _temperature(self, basis: Array, log_total: Array) -> Array:
        c = self._inverse_T[0] if self._shared else self._inverse_T
        rest = (basis * c[..., 2:]).sum(axis=-1)
        return np.asarray(1.0 / (c[..., 0] * log_total + c[..., 1] * log_total**2 + rest), dtype=np.float64)

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Return T (...) and y (..., n) at the fitted pressure; with S mixtures ``x`` is (..., S, n)."""
        liquid = np.asarray(x, dtype=np.float64)
        self._same_pressure(pressure)
        basis = self._basis(liquid)
        log_alpha = self._evaluate(basis)
        return self._temperature(basis, _log_total(liquid, log_alpha)), unit(liquid * np.exp(log_alpha))

    def vapour_slope(self, x: Array, y: Array) -> Array:
        """dy_i/dx_k (..., n, n) of y taken as homogeneous of degree one in x.

        y_i = x_i a_i / s, s = sum_j x_j a_j, a = K_i/K_n: dy_i/dx_k = d_ik a_i/s + y_i (1 - a_k/s + L_ik - sum_j y_j L_jk)
        with L_ik = d ln a_i/dx_k made homogeneous of degree zero, L_ik - sum_m x_m L_im.
        """
        basis, slopes = self._basis_and_slopes(x)
        K = np.exp(self._evaluate(basis))
        total = (x * K).sum(axis=-1, keepdims=True)
        # L (..., n, n): columns by x_1 .. x_{n-1} and 0 for the last, then made homogeneous of degree zero
        L = np.zeros((*x.shape, self.n))
        for k in range(self.n - 1):
            L[..., k] = self._evaluate(slopes[k])
        L = L - (L * x[..., None, :]).sum(axis=-1, keepdims=True)
        L = L - (y[..., :, None] * L).sum(axis=-2, keepdims=True)
        ratio = K / total
        slope = y[..., :, None] * (L + (1.0 - ratio)[..., None, :])
        diagonal = np.arange(self.n)
        slope[..., diagonal, diagonal] += ratio
        return np.asarray(slope, dtype=np.float64)

    def take(self, index: ArrayLike) -> FittedVolatility:
        """Return the fits of scenarios ``index``, which may repeat: the same mixtures for many set-ups."""
        other = object.__new__(FittedVolatility)
        other.__dict__.update(self.__dict__)
        which = np.asarray(index, dtype=np.int64)
        other._volatility = self._volatility[which]
        other._inverse_T = self._inverse_T[which]
        other.pressure = self.pressure[which]
        other._shared = False
        return other

    def _same_pressure(self, pressure: ArrayLike) -> None:
        asked = np.asarray(pressure, dtype=np.float64)
        fitted = self.pressure[0] if self._shared else self.pressure
        if not np.all(np.abs(asked - fitted) <= 1e-9 * fitted):
            raise InputError(Fault(f"{asked.flat[0]:g} Pa", f"the fitted pressure, {self.pressure[0]:g} Pa", column="pressure"))

    def _evaluate(self, basis: Array) -> Array:
        if self._shared:
            return np.asarray(basis @ self._volatility[0])
        by_scenario = np.moveaxis(basis, -2, 0)
        flat = by_scenario.reshape(len(by_scenario), -1, basis.shape[-1])
        values = basis_times(flat, self._volatility)
        return np.moveaxis(values.reshape(*by_scenario.shape[:-1], -1), 0, -2)

    def _basis(self, x: Array) -> Array:
        return self._products(_chebyshev(x[..., :-1], int(self._powers.max(initial=0))))

    def _products(self, tables: Array) -> Array:
        out = np.ones((*tables.shape[1:-1], len(self._powers)))
        for k in range(self.n - 1):
            out = out * np.moveaxis(tables[self._powers[:, k], ..., k], 0, -1)
        return out

    def _basis_and_slopes(self, x: Array) -> tuple[Array, list[Array]]:
        tables = _chebyshev(x[..., :-1], int(self._powers.max(initial=0)))
        rates = _chebyshev_slopes(tables, x[..., :-1])
        slopes = []
        for k in range(self.n - 1):
            mixed = tables.copy()
            mixed[..., k] = rates[..., k]
            slopes.append(self._products(mixed))
        return self._products(tables), slopes


def basis_times(basis: Array, coefficients: Array) -> Array:
    """(S, M, terms) @ (S, terms, n + 1); a leading 1 of ``basis`` broadcasts."""
    return np.asarray(basis @ coefficients)


def _chebyshev(x: Array, degree: int) -> Array:
    """Chebyshev polynomials of 2 x - 1, (degree + 1, ..., n - 1), by their recurrence."""
    u = 2.0 * x - 1.0
    tables = np.empty((degree + 1, *x.shape))
    tables[0] = 1.0
    if degree > 0:
        tables[1] = u
    for d in range(2, degree + 1):
        tables[d] = 2.0 * u * tables[d - 1] - tables[d - 2]
    return tables


def _chebyshev_slopes(tables: Array, x: Array) -> Array:
    """Derivatives by x: T'_d = 2 T_{d-1} + 2 u T'_{d-1} - T'_{d-2} by u, times 2."""
    u = 2.0 * x - 1.0
    rates = np.zeros_like(tables)
    if len(tables) > 1:
        rates[1] = 1.0
    for d in range(2, len(tables)):
        rates[d] = 2.0 * tables[d - 1] + 2.0 * u * rates[d - 1] - rates[d - 2]
    return 2.0 * rates


def _nodes(n: int, count: int) -> Array:
    """Sample points (m, n): Chebyshev points, ends included, in the fractions of what is left (Duffy's coordinates)."""
    line = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count - 1, 1))
    return _simplex_points(np.array(list(product(line, repeat=n - 1))).reshape(-1, n - 1))


def _inner(n: int) -> Array:
    """Check points (m, n): an even lattice in the same coordinates, away from the samples, with points near the edges."""
    count = {1: 1, 2: 101, 3: 17, 4: 9, 5: 6}[n]
    line = np.concatenate([(np.arange(count) + 0.5) / count, [0.002, 0.998]])
    return _simplex_points(np.array(list(product(line, repeat=n - 1))).reshape(-1, n - 1))


def _simplex_points(parts: Array) -> Array:
    left = np.ones(len(parts))
    columns = []
    for k in range(parts.shape[1]):
        columns.append(left * parts[:, k])
        left = left * (1.0 - parts[:, k])
    x = np.maximum(np.stack([*columns, left], axis=-1), NEARLY_ABSENT)
    return unit(x)


def _sample(members: list[Equilibrium], pressure: Array, x: Array) -> tuple[Array, Array]:
    """ln K_i/K_n (m, S, n) and T (m, S)."""
    log_alpha = np.empty((len(x), len(members), x.shape[-1]))
    temperature = np.empty((len(x), len(members)))
    for s, mixture in enumerate(members):
        T, y = mixture.bubble_point(x, pressure[s])
        log_k = np.log(y / x)
        log_alpha[:, s] = log_k - log_k[:, -1:]
        temperature[:, s] = T
    return log_alpha, temperature


def _log_total(x: Array, log_alpha: Array) -> Array:
    """ln sum_i x_i K_i/K_n, (...)."""
    return np.asarray(np.log((x * np.exp(log_alpha)).sum(axis=-1)))
