"""Volatilities of a mixture fitted by polynomials at one pressure, so that many scenarios cost little."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still.equilibrium import Array, Equilibrium, laid_out, total, unit
from fractionkit.still.lattice import chain, inner, nodes, powers, thinned

DEGREES = {2: (4, 6, 8, 10, 12, 15), 3: (4, 5, 6, 8, 10, 12), 4: (4, 6, 8), 5: (3, 4, 5, 6)}
"""Total degrees tried, by the number of components."""


MOST_CHECKS = 1500
"""Check points at most; a whole lattice of five components is far more."""

STRAIGHT = 3
"""Components up to which 1/T is fitted beside a straight line through the pure liquids: blends are then good too."""


LEAST_WEIGHT = 0.02
"""Weight, beside that by the vapour's slope, of samples near a pure component, where a volatility moves the vapour little."""

FEW = 400
"""Numbers in an array below which whole-table operations cost less than one operation a monomial."""


class FittedVolatility:
    """Polynomials in the liquid composition for ln K_i/K_n and 1/T of one mixture, or of S mixtures (one a scenario).

    ln K_i/K_n at the bubble point is a smooth function on the simplex; it is fitted by least squares, the total degree
    raised until check points between the samples agree.

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

    def __init__(
        self, mixtures: Equilibrium | Sequence[Equilibrium], pressure: ArrayLike, *, goal: float = 1e-7
    ) -> None:
        one = hasattr(mixtures, "bubble_point")
        members = cast("list[Equilibrium]", [mixtures] if one else list(cast("Sequence[Equilibrium]", mixtures)))
        if not members:
            raise InputError(Fault(None, "one or more mixtures", column="mixtures"))
        first = members[0]
        n = getattr(first, "n", None)
        if n not in DEGREES:
            raise InputError(
                Fault(str(n), f"a mixture of 2 to {max(DEGREES)} components with attribute n", column="mixtures")
            )
        self.n = int(n)
        self.molar_mass = np.asarray(getattr(first, "molar_mass", np.ones(self.n)), dtype=np.float64)
        if hasattr(first, "substances"):
            self.substances = first.substances
        self.pressure = np.broadcast_to(np.asarray(pressure, dtype=np.float64), (len(members),))
        self._shared = one or len(members) == 1
        self._fit(members, goal)

    def _fit(self, members: list[Equilibrium], goal: float) -> None:
        checks = thinned(inner(self.n), MOST_CHECKS)
        truth, T_true = _sample(members, self.pressure, checks)
        y_true = unit(checks[:, None, :] * np.exp(truth))
        self.error_y = np.inf
        for degree in DEGREES[self.n]:
            self._powers = powers(self.n - 1, degree)
            self._links = chain(self._powers)
            self._degrees = np.arange(degree + 1)
            points = nodes(self.n, degree + 2)
            values, T = _sample(members, self.pressure, points)
            weight = _weight(points, values)[:, None]
            solved, *_ = np.linalg.lstsq(self._basis(points).T * weight, values.reshape(len(points), -1) * weight)
            # (n, terms, S)
            self._volatility: Array = np.ascontiguousarray(np.moveaxis(solved.reshape(-1, *values.shape[1:]), -1, 0))
            basis = self._basis(np.repeat(checks[:, None], len(members), axis=1))
            found = self._ratios(basis, self._volatility)
            before, self.error_y = self.error_y, float(np.abs(unit(checks[:, None, :] * np.exp(found)) - y_true).max())
            # a mixture whose volatility is not smooth gains nothing from more terms
            if self.error_y <= goal or self.error_y > 0.8 * before:
                break
        self._slopes = np.stack([self._differentiated(k) for k in range(self.n - 1)]) if self.n > 1 else None
        self._fit_temperature(points, values, T)
        log_total = np.log(total(checks[:, None, :] * np.exp(found)))
        self.error_T = float(np.abs(self._temperature(basis, log_total) - T_true).max())

    def _fit_temperature(self, points: Array, values: Array, T: Array) -> None:
        """1/T is close to a parabola in ln sum_i x_i K_i/K_n (Clausius and Clapeyron); polynomials take the rest.

        The parabola is that of the first mixture for all, so that what differs between them is linear in coefficients.
        """
        basis = self._basis(points).T
        log_total = np.log(total(points[:, None] * np.exp(values)))
        if self.n <= STRAIGHT:
            pure = points.max(axis=1) > 0.999
            columns = np.column_stack([log_total[pure, 0], np.ones(pure.sum())])
            parabola = np.array([np.linalg.lstsq(columns, 1.0 / T[pure, 0], rcond=None)[0][0], 0.0])
        else:
            columns = np.column_stack([log_total[:, 0], log_total[:, 0] ** 2, basis])
            parabola = np.linalg.lstsq(columns, 1.0 / T[:, 0], rcond=None)[0][:2]
        left = 1.0 / T - parabola[0] * log_total - parabola[1] * log_total**2
        rest = np.linalg.lstsq(basis, left, rcond=None)[0]
        # (terms + 2, S)
        self._inverse_T = np.concatenate([np.repeat(parabola[:, None], T.shape[1], axis=1), rest])

    def _temperature(self, basis: Array, log_total: Array) -> Array:
        """T from the monomials and ln sum_i x_i K_i/K_n of liquids."""
        c = self._inverse_T[:, 0] if self._shared else self._inverse_T
        rest = self._sum(basis, c[2:])
        return np.asarray(1.0 / (c[0] * log_total + c[1] * log_total**2 + rest), dtype=np.float64)

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Return T (...) and y (..., n) at the fitted pressure; with S mixtures ``x`` is (..., S, n)."""
        liquid = np.asarray(x, dtype=np.float64)
        self._same_pressure(pressure)
        basis = self._basis(liquid)
        y = self._volatilities(basis)
        y *= liquid
        whole = total(y)
        y /= whole[..., None]
        return self._temperature(basis, np.log(whole)), y

    def vapour(self, x: Array) -> Array:
        """Return y (..., n) alone, which costs less."""
        y = self._volatilities(self._basis(x))
        y *= x
        y /= total(y)[..., None]
        return y

    def vapour_slope(self, x: Array, y: Array) -> Array:
        """dy_i/dx_k (..., n, n) of y taken as homogeneous of degree one in x.

        y_i = x_i a_i / s, s = sum_j x_j a_j, a_i = K_i/K_n:
        dy_i/dx_k = d_ik a_i/s + y_i (1 - a_k/s + L_ik - sum_j y_j L_jk)
        with L_ik = d ln a_i/dx_k made homogeneous of degree zero, L_ik - sum_m x_m L_im.
        """
        basis = self._basis(x)
        ratio = self._volatilities(basis)
        ratio /= total(x * ratio)[..., None]
        L = laid_out((*x.shape, self.n), 2)
        if self._slopes is not None:
            lower = basis[: self._slopes.shape[2]]
            for k in range(self.n - 1):
                self._ratios(lower, self._slopes[k], L[..., k])
            L[..., -1] = 0.0
        L -= total(L * x[..., None, :])[..., None]
        mean = y[..., 0, None] * L[..., 0, :]
        for j in range(1, self.n):
            mean = mean + y[..., j, None] * L[..., j, :]
        slope = y[..., :, None] * (L + (1.0 - ratio - mean)[..., None, :])
        diagonal = np.arange(self.n)
        slope[..., diagonal, diagonal] += ratio
        return np.asarray(slope, dtype=np.float64)

    def take(self, index: ArrayLike) -> FittedVolatility:
        """Return the fits of scenarios ``index``, which may repeat: the same mixtures for many set-ups.

        A fit of one mixture serves any scenario, and is returned as it is.
        """
        if self._shared:
            return self
        other = object.__new__(FittedVolatility)
        other.__dict__.update(self.__dict__)
        which = np.asarray(index, dtype=np.int64)
        other._volatility = np.take(self._volatility, which, axis=-1)
        other._slopes = None if self._slopes is None else np.take(self._slopes, which, axis=-1)
        other._inverse_T = np.take(self._inverse_T, which, axis=-1)
        other.pressure = self.pressure[which]
        other._shared = False
        return other

    def blended(self, weights: ArrayLike, pressure: float) -> FittedVolatility:
        """Return S mixtures whose ln K_i/K_n and 1/T are sums of the fitted ones by ``weights`` (S, members).

        With weights that add to one and small differences between the members this is a linear model of a mixture's
        uncertain constants, at the cost of one fit a constant instead of one a scenario. ``pressure`` is what the
        result answers to; members fitted at another pressure bring the effect of pressure in.
        """
        share = np.asarray(weights, dtype=np.float64)
        other = object.__new__(FittedVolatility)
        other.__dict__.update(self.__dict__)
        other._volatility = self._volatility @ share.T
        other._slopes = None if self._slopes is None else self._slopes @ share.T
        other._inverse_T = self._inverse_T @ share.T
        other.pressure = np.full(len(share), pressure)
        other._shared = False
        return other

    def _same_pressure(self, pressure: ArrayLike) -> None:
        asked = np.asarray(pressure, dtype=np.float64)
        fitted = self.pressure[0] if self._shared else self.pressure
        if not np.all(np.abs(asked - fitted) <= 1e-9 * fitted):
            raise InputError(
                Fault(f"{asked.flat[0]:g} Pa", f"the fitted pressure, {self.pressure[0]:g} Pa", column="pressure")
            )

    def _volatilities(self, basis: Array) -> Array:
        """K_i/K_n (..., n)."""
        out = self._ratios(basis, self._volatility)
        np.exp(out[..., :-1], out=out[..., :-1])
        out[..., -1] = 1.0
        return out

    def _sum(self, basis: Array, coefficients: Array) -> Array:
        """Polynomial (...) from ``basis`` (terms, ...) and ``coefficients`` (terms,) or (terms, S)."""
        if coefficients.ndim == 1:
            return np.asarray((coefficients @ basis.reshape(len(basis), -1)).reshape(basis.shape[1:]))
        by_scenario = basis.reshape(len(basis), -1, basis.shape[-1])
        # einsum runs along the scenarios
        return np.asarray(np.einsum("tms,ts->ms", by_scenario, coefficients).reshape(basis.shape[1:]))

    def _ratios(self, basis: Array, coefficients: Array, out: Array | None = None) -> Array:
        """Polynomials of ln K_i/K_n or its slopes; the last is zero for all compositions and not computed."""
        if out is None:
            out = laid_out((*basis.shape[1:], self.n))
        out[..., -1] = 0.0
        if self._shared:
            flat = coefficients[:-1, :, 0] @ basis.reshape(len(basis), -1)
            out[..., :-1] = flat.reshape(self.n - 1, *basis.shape[1:]).transpose(*range(1, basis.ndim), 0)
            return out
        for k in range(self.n - 1):
            out[..., k] = self._sum(basis, coefficients[k])
        return out

    def _basis(self, x: Array) -> Array:
        """Monomials (terms, ...) of 2 x_k - 1; for many points each from an earlier one by one multiplication."""
        # contiguous in the points, as all that follows runs along them
        u = np.empty((self.n - 1, *x.shape[:-1]))
        for k in range(self.n - 1):
            np.multiply(x[..., k], 2.0, out=u[k])
        u -= 1.0
        if x.size <= FEW:
            tables = np.empty((len(self._degrees), *u.shape))
            tables[0] = 1.0
            for degree in range(1, len(tables)):
                np.multiply(tables[degree - 1], u, out=tables[degree])
            out: Array = tables[self._powers[:, 0], 0]
            for k in range(1, self.n - 1):
                out *= tables[self._powers[:, k], k]
            return out
        out = np.empty((len(self._powers), *x.shape[:-1]))
        out[0] = 1.0
        for term, (earlier, k) in enumerate(self._links, start=1):
            np.multiply(out[earlier], u[k], out=out[term])
        return out

    def _differentiated(self, k: int) -> Array:
        """Coefficients (n, terms, S) of the derivative by x_k, in the same monomials without those of highest degree."""
        where = {tuple(p): i for i, p in enumerate(self._powers.tolist())}
        out = np.zeros_like(self._volatility)
        for i, p in enumerate(self._powers.tolist()):
            if p[k] > 0:
                lower = tuple(q - (j == k) for j, q in enumerate(p))
                out[:, where[lower]] += 2.0 * p[k] * self._volatility[:, i]
        return np.ascontiguousarray(out[:, self._powers.sum(axis=1) < max(len(self._degrees) - 1, 1)])


def _sample(members: list[Equilibrium], pressure: Array, x: Array) -> tuple[Array, Array]:
    """Logarithm of K_i/K_n (m, S, n) and T (m, S)."""
    log_alpha = np.empty((len(x), len(members), x.shape[-1]))
    temperature = np.empty((len(x), len(members)))
    for s, mixture in enumerate(members):
        T, y = mixture.bubble_point(x, pressure[s])
        log_k = np.log(y / x)
        log_alpha[:, s] = log_k - log_k[:, -1:]
        temperature[:, s] = T
    return log_alpha, temperature


def _weight(x: Array, log_alpha: Array) -> Array:
    """Weights (m,) of samples: a volatility counts as it moves the vapour, but nowhere is it left to itself."""
    y = unit(x[:, None] * np.exp(log_alpha)).mean(axis=1)
    return np.asarray(np.sqrt((y * (1.0 - y)).sum(axis=-1) + LEAST_WEIGHT))
