"""Vapour pressure of the pure liquids: Antoine inside its range, Clausius-Clapeyron beyond it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fractionkit.mixture.arrays import Array

LN10 = float(np.log(10.0))
EXTENSION_ERROR = 0.05
"""Standard uncertainty of a change of ln p or density beyond its equation's range, as a share of the change."""
T_LOWEST = 100.0
"""K; no search for a boiling point goes below (chlorine at 20 kPa boils near 210 K)."""
T_HIGHEST = 900.0
"""K; no search goes above (hexachloroethane at 200 kPa boils near 490 K)."""


@dataclass(frozen=True)
class VapourPressure:
    """Constants of ``log10(p / Pa) = A - B / (T / K + C)``, one entry a component.

    Outside ``[t_min, t_max]`` the Antoine equation can turn or blow up (its pole lies at ``T = -C``). There ln p
    goes on linear in 1/T from the range's end with the same value and slope, which is the Clausius-Clapeyron
    equation with a constant heat of vaporization: once continuously differentiable, and increasing for all T > 0.

    A, B, C, t_min, t_max : (n,) constants, K.
    u_ln : (n,) standard uncertainty of ln p inside the range; `u` widens it beyond.
    shift : (n,) error of ln p in units of its standard uncertainty (zero but for a perturbed mixture).
    """

    A: Array
    B: Array
    C: Array
    t_min: Array
    t_max: Array
    u_ln: Array
    shift: Array

    def ln(self, T: Array) -> tuple[Array, Array]:
        """Logarithm of the vapour pressures in Pa and its slope in 1/K, both (..., n), at ``T`` (...) in K."""
        t = np.asarray(T, dtype=np.float64)[..., None]
        inside = np.clip(t, self.t_min, self.t_max)
        denominator = inside + self.C
        slope = LN10 * self.B / denominator**2
        # beyond the range: ln p = ln p(t*) + k (1/t* - 1/T), k = slope(t*) t*^2; inside t* = T and the term is zero
        k = slope * inside**2
        ln_p = LN10 * (self.A - self.B / denominator) + k * (1.0 / inside - 1.0 / t)
        slope = np.where(inside == t, slope, k / t**2)
        if self.shift.any():
            u = self.u(t[..., 0])
            beyond = EXTENSION_ERROR**2 * k * (1.0 / inside - 1.0 / t)
            return ln_p + self.shift * u, slope * (1.0 + self.shift * beyond / u)
        return ln_p, slope

    def u(self, T: Array) -> Array:
        """Standard uncertainty (..., n) of ln p at ``T`` (...): u_ln, and a twentieth of any change beyond the range.

        The slope of ln p against 1/T changes by roughly a tenth over 50 K; common practice, no source.
        """
        t = np.asarray(T, dtype=np.float64)[..., None]
        inside = np.clip(t, self.t_min, self.t_max)
        k = LN10 * self.B * (inside / (inside + self.C)) ** 2
        return np.hypot(self.u_ln, EXTENSION_ERROR * k * (1.0 / inside - 1.0 / t))

    def boiling_point(self, P: Array) -> Array:
        """Temperature (..., n) at which each pure liquid has the vapour pressure ``P`` (...), in closed form.

        The unperturbed constants: it serves to start a search.
        """
        target = np.log(np.asarray(P, dtype=np.float64))[..., None]
        with np.errstate(divide="ignore", invalid="ignore"):
            inside = LN10 * self.B / (LN10 * self.A - target) - self.C
        low, slope_low = self._end(self.t_min)
        high, slope_high = self._end(self.t_max)
        below = 1.0 / (1.0 / self.t_min + (low - target) / (slope_low * self.t_min**2))
        inverse = 1.0 / self.t_max - (target - high) / (slope_high * self.t_max**2)
        above = 1.0 / np.maximum(inverse, 1.0 / (2.0 * T_HIGHEST))
        return np.where(target < low, below, np.where(target > high, above, inside))

    def _end(self, t: Array) -> tuple[Array, Array]:
        return LN10 * (self.A - self.B / (t + self.C)), LN10 * self.B / (t + self.C) ** 2

    def perturbed(self, theta: Array) -> VapourPressure:
        """Shift ln p_i by ``theta_i`` standard uncertainties."""
        return replace(self, shift=self.shift + theta)
