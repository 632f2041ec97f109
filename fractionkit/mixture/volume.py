"""Density of a liquid mixture: volumes add, plus an excess volume of two terms."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fractionkit.mixture.arrays import Array, pairs
from fractionkit.mixture.vapour import EXTENSION_ERROR


@dataclass(frozen=True)
class Volume:
    """Constants of rho_i(T) = rho_ref + slope (T - t_ref) + curvature (T - t_ref)^2 and of the excess volumes.

    Beyond ``[t_min, t_max]`` the density goes on as a straight line with the slope at the range's end.
    reference, t_reference, slope, curvature, t_min, t_max, u, u_slope : (n,) SI.
    excess, u_excess, skew : (n, n) m3/mol, the first two symmetric, skew antisymmetric; V^E = sum over pairs of
    4 x_i x_j (excess_ij + skew_ij (x_i - x_j)), two terms of Redlich and Kister, Ind. Eng. Chem. 40 (1948) 345.
    shift : (n,) error of rho_i in units of its standard uncertainty (zero but for a perturbed mixture).
    """

    reference: Array
    t_reference: Array
    slope: Array
    curvature: Array
    t_min: Array
    t_max: Array
    u: Array
    u_slope: Array
    excess: Array
    u_excess: Array
    skew: Array
    shift: Array

    def pure_u(self, T: Array) -> Array:
        """Standard uncertainty (..., n) of the pure densities at ``T`` (...), kg/m3: value, slope and extension."""
        t = np.asarray(T, dtype=np.float64)[..., None]
        beyond = EXTENSION_ERROR * self.slope * (t - np.clip(t, self.t_min, self.t_max))
        return np.hypot(np.hypot(self.u, self.u_slope * (t - self.t_reference)), beyond)

    def pure(self, T: Array) -> Array:
        """Densities (..., n) of the pure liquids at ``T`` (...), kg/m3."""
        t = np.asarray(T, dtype=np.float64)[..., None]
        inside = np.clip(t, self.t_min, self.t_max)
        away = inside - self.t_reference
        rho = self.reference + away * (self.slope + away * self.curvature)
        rho = rho + (self.slope + 2.0 * self.curvature * away) * (t - inside)
        return np.asarray(rho + self.shift * self.pure_u(T), dtype=np.float64)

    def density(self, w: Array, T: Array, M: Array) -> Array:
        """Density (...) of mixtures with mass fractions ``w`` (..., n); ``M`` (n,) molar masses, kg/mol."""
        return np.asarray(1.0 / self.specific_volume(w, T, M), dtype=np.float64)

    def specific_volume(self, w: Array, T: Array, M: Array) -> Array:
        """1/rho (...) in m3/kg: sum_i w_i/rho_i + V^E times the moles in a kilogram."""
        moles = w / M
        total = moles.sum(axis=-1)
        excess = 2.0 * ((moles @ self.excess) * moles).sum(axis=-1) / total
        excess = excess + 4.0 * (moles**2 * (moles @ self.skew.T)).sum(axis=-1) / total**2
        return np.asarray((w / self.pure(T)).sum(axis=-1) + excess, dtype=np.float64)

    def share(self, w: Array, T: Array, M: Array) -> Array:
        """Volumes (..., n) of the pure components over the volume of the mixture."""
        return np.asarray(w / self.pure(T) / self.specific_volume(w, T, M)[..., None], dtype=np.float64)

    def gradient(self, w: Array, T: Array, M: Array) -> Array:
        """Slope d rho/d w_i (..., n), the w taken as independent (only changes that sum to zero have meaning)."""
        moles = w / M
        total = moles.sum(axis=-1, keepdims=True)
        linear = moles @ self.excess
        quadratic = (linear * moles).sum(axis=-1, keepdims=True)
        bent = moles @ self.skew.T
        by_skew = 8.0 * moles * bent + 4.0 * moles**2 @ self.skew
        by_skew = by_skew / total**2 - 8.0 * (moles**2 * bent).sum(axis=-1, keepdims=True) / total**3
        dv = 1.0 / self.pure(T) + (4.0 * linear / total - 2.0 * quadratic / total**2 + by_skew) / M
        rho = self.density(w, T, M)[..., None]
        return np.asarray(-(rho**2) * dv, dtype=np.float64)

    def errors(self, w: Array, T: Array, M: Array) -> tuple[Array, Array]:
        """Change of rho for one standard uncertainty of each pure density (..., n) and excess volume (..., pairs)."""
        rho = self.density(w, T, M)[..., None]
        pure = self.pure(T)
        by_density = rho**2 * w / pure**2 * self.pure_u(T)
        moles = w / M
        total = moles.sum(axis=-1, keepdims=True)
        index = pairs(w.shape[-1])
        i, j = [p[0] for p in index], [p[1] for p in index]
        by_excess = -(rho**2) * 4.0 * moles[..., i] * moles[..., j] / total * self.u_excess[i, j]
        return by_density, by_excess

    def perturbed(self, theta: Array, theta_excess: Array) -> Volume:
        """Shift by ``theta`` (n,) and ``theta_excess`` (n, n, symmetric) standard uncertainties."""
        return replace(self, shift=self.shift + theta, excess=self.excess + theta_excess * self.u_excess)
