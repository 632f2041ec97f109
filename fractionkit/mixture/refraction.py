"""Refractive index of a liquid mixture, between the rules of Lorentz and Lorenz and of Gladstone and Dale."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fractionkit.errors import Fault, OutOfRangeError
from fractionkit.mixture.arrays import Array


@dataclass(frozen=True)
class Refraction:
    """Constants of n_i(T) = n_ref + slope (T - t_ref) for the sodium D line; NaN where the catalogue has none.

    Of a mixture, (n^2 - 1)/(n^2 + 2) = sum_i s_i (n_i^2 - 1)/(n_i^2 + 2) by Lorentz and Lorenz (1880) and
    n - 1 = sum_i s_i (n_i - 1) by Gladstone and Dale (1863), s_i the volume of the pure component over the volume of the
    mixture. Measured mixtures lie between the two or near either; the middle is taken, and half their distance is the
    standard uncertainty of the rule.

    reference, t_reference, slope, u : (n,). rule : error of the rule in standard uncertainties (zero but for a perturbed
    mixture): 1 is Lorentz and Lorenz, -1 Gladstone and Dale. Shares s (..., n) sum to 1 but for the excess volume.
    """

    reference: Array
    t_reference: Array
    slope: Array
    u: Array
    rule: float = 0.0

    def pure(self, T: Array) -> Array:
        """Refractive indices (..., n) of the pure liquids."""
        away = np.asarray(T)[..., None] - self.t_reference
        return np.asarray(self.reference + self.slope * away, dtype=np.float64)

    def require(self, names: tuple[str, ...]) -> None:
        """Refuse to compute where an index is missing.

        Raises
        ------
        OutOfRangeError
            naming the substance.
        """
        for name, value in zip(names, self.reference, strict=True):
            if np.isnan(value):
                raise OutOfRangeError(Fault(name, "a substance whose refractive index is in the catalogue"))

    def index(self, share: Array, T: Array) -> Array:
        """Refractive index (...) of the mixture; ``share`` (..., n) volumes of the pure components over the mixture's."""
        return self._middle(*self._both(share, T))

    def errors(self, share: Array, T: Array) -> Array:
        """Change of n for one standard uncertainty of each pure index, (..., n)."""
        pure = self.pure(T)
        lorentz = _index((share * _refraction(pure)).sum(axis=-1))[..., None]
        return self._middle(share * _slope(pure) / _slope(lorentz) * self.u, share * self.u)

    def density_errors(self, share: Array, T: Array, relative: Array) -> Array:
        """Change of n for one standard uncertainty of each pure density, ``relative`` (..., n) to the density."""
        pure = self.pure(T)
        refraction = _refraction(pure)
        mixed = (share * refraction).sum(axis=-1, keepdims=True)
        straight = (share * (pure - 1.0)).sum(axis=-1, keepdims=True)
        lorentz = -share * (refraction - mixed) * relative / _slope(_index(mixed))
        return self._middle(lorentz, -share * (pure - 1.0 - straight) * relative)

    def excess_errors(self, share: Array, T: Array, relative: Array) -> Array:
        """Change of n (..., m) where the mixture's density changes by the parts ``relative`` (..., m) of itself."""
        lorentz, gladstone = (n[..., None] for n in self._both(share, T))
        by_lorentz = _refraction(lorentz) / _slope(lorentz) * relative
        return self._middle(by_lorentz, (gladstone - 1.0) * relative)

    def rule_error(self, share: Array, T: Array) -> Array:
        """Change of n (...) for one standard uncertainty of the mixing rule."""
        lorentz, gladstone = self._both(share, T)
        return np.asarray(0.5 * (lorentz - gladstone), dtype=np.float64)

    def perturbed(self, theta: Array, rule: float) -> Refraction:
        """Shift n_i by ``theta_i`` standard uncertainties and the rule by ``rule``."""
        return replace(self, reference=self.reference + theta * self.u, rule=self.rule + rule)

    def _both(self, share: Array, T: Array) -> tuple[Array, Array]:
        pure = self.pure(T)
        return _index((share * _refraction(pure)).sum(axis=-1)), 1.0 + (share * (pure - 1.0)).sum(axis=-1)

    def _middle(self, lorentz: Array, gladstone: Array) -> Array:
        return np.asarray(0.5 * (lorentz + gladstone + self.rule * (lorentz - gladstone)), dtype=np.float64)


def _refraction(n: Array) -> Array:
    return (n**2 - 1.0) / (n**2 + 2.0)


def _index(refraction: Array) -> Array:
    return np.asarray(np.sqrt((1.0 + 2.0 * refraction) / (1.0 - refraction)), dtype=np.float64)


def _slope(n: Array) -> Array:
    return 6.0 * n / (n**2 + 2.0) ** 2
