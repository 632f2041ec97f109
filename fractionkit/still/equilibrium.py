"""What the column asks of a mixture, and two plain objects that give it: constant volatility, a table of x and y."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError

Array = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324
"""J/mol/K, exact by definition (SI brochure, 9th edition)."""

ATMOSPHERE = 101325.0


class Equilibrium(Protocol):
    """Anything that tells the vapour over a boiling liquid; `fractionkit.mixture.Mixture` is one."""

    def bubble_point(self, x: Any, pressure: Any, /) -> tuple[Array, Array]:
        """Temperature (...) in K and vapour y (..., n) of liquids ``x`` (..., n) at ``pressure`` in Pa."""
        ...


class ConstantVolatility:
    """A mixture whose relative volatilities do not change: y_i = alpha_i x_i / sum_k alpha_k x_k.

    Temperatures, which the compositions do not need, come from Clausius and Clapeyron for a substance of volatility
    one: ln(p / 101325 Pa) = (heat / R) (1/boiling_point - 1/T), and the liquid boils where p sum_k alpha_k x_k = P.

    Parameters
    ----------
    alpha : (n,) relative volatilities, or (S, n), one row a scenario.
    molar_mass : (n,) kg/mol; left out, every component weighs 1 kg/mol and masses are moles.
    boiling_point : K at 101.325 kPa of a substance of volatility one; an arbitrary 373.15 K if left out.
    heat : its heat of vaporization, J/mol.
    """

    def __init__(
        self,
        alpha: ArrayLike,
        *,
        molar_mass: ArrayLike | None = None,
        boiling_point: float = 373.15,
        heat: float = 35000.0,
    ) -> None:
        self.alpha = np.asarray(alpha, dtype=np.float64)
        if self.alpha.ndim not in (1, 2) or not np.all(np.isfinite(self.alpha) & (self.alpha > 0.0)):
            raise InputError(Fault(str(alpha), "relative volatilities above zero, one a component"))
        self.n = self.alpha.shape[-1]
        mass = np.ones(self.n) if molar_mass is None else np.asarray(molar_mass, dtype=np.float64)
        if mass.shape != (self.n,) or not np.all(mass > 0.0):
            raise InputError(Fault(str(molar_mass), f"{self.n} molar masses above zero, kg/mol"))
        self.molar_mass = mass
        self.boiling_point = boiling_point
        self.heat = heat

    def take(self, index: ArrayLike) -> ConstantVolatility:
        """Return the mixtures of scenarios ``index``."""
        if self.alpha.ndim == 1:
            return self
        alpha = self.alpha[np.asarray(index, dtype=np.int64)]
        return ConstantVolatility(alpha, molar_mass=self.molar_mass, boiling_point=self.boiling_point, heat=self.heat)

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Return T (...) and y (..., n)."""
        z = np.asarray(x, dtype=np.float64) * self.alpha
        total = z.sum(axis=-1)
        reduced = np.log(np.asarray(pressure, dtype=np.float64) / (ATMOSPHERE * total))
        T = 1.0 / (1.0 / self.boiling_point - GAS_CONSTANT / self.heat * reduced)
        return T, z / total[..., None]

    def vapour(self, x: Array) -> Array:
        """Return y (..., n) alone."""
        z = x * self.alpha
        return np.asarray(z / total(z)[..., None], dtype=np.float64)

    def vapour_slope(self, x: Array, y: Array) -> Array:
        """dy_i/dx_k (..., n, n) of y taken as homogeneous of degree one in x; see `column.vapour_slope`."""
        k = self.alpha / total(x * self.alpha)[..., None]
        slope = y[..., :, None] * (1.0 - k)[..., None, :]
        diagonal = np.arange(self.n)
        slope[..., diagonal, diagonal] += k
        return np.asarray(slope, dtype=np.float64)


class TabulatedVolatility:
    """A binary mixture known by a measured table of x and y of the more volatile component at one pressure.

    Between the points, ln(y x_heavy / (y_heavy x)), the logarithm of the relative volatility, follows a monotone cubic
    through the inner points; beyond them it keeps the end value. The ends (0, 0) and (1, 1) need not be given.

    Parameters
    ----------
    x, y : (k,) mole fractions of the first component in liquid and vapour.
    """

    n = 2

    def __init__(self, x: ArrayLike, y: ArrayLike) -> None:
        from scipy.interpolate import PchipInterpolator

        liquid, vapour = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        if liquid.ndim != 1 or liquid.shape != vapour.shape or np.any(np.diff(liquid) <= 0.0):
            raise InputError(Fault(None, "x and y of equal length, x rising", column="x, y"))
        inner = (liquid > 0.0) & (liquid < 1.0)
        if inner.sum() < 2 or not np.all((vapour[inner] > 0.0) & (vapour[inner] < 1.0)):
            raise InputError(Fault(None, "two or more points with x and y between 0 and 1", column="x, y"))
        lx, ly = liquid[inner], vapour[inner]
        self._low, self._high = float(lx[0]), float(lx[-1])
        self._ln_alpha = PchipInterpolator(lx, np.log(ly * (1.0 - lx) / (lx * (1.0 - ly))))
        self.molar_mass = np.ones(2)  # masses are moles

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Return T (...), which is not known (NaN), and y (..., 2); the table's pressure is taken whatever ``pressure`` says."""
        liquid = np.asarray(x, dtype=np.float64)
        light = liquid[..., 0]
        alpha = np.exp(self._ln_alpha(np.clip(light, self._low, self._high)))
        scaled = alpha * light
        y = np.stack([scaled, liquid[..., 1]], axis=-1) / (scaled + liquid[..., 1])[..., None]
        return np.full(light.shape, np.nan), y


class LatentScaled:
    """A mixture counted in amounts of equal latent heat, so that constant molar overflow holds for those amounts.

    An amount n_i counts as n_i h_i / h_ref. Molar heats h_i that differ make the molar flows vary along the column;
    the scaled flows do not, when sensible heat and heat of mixing are left out (fictitious molecular weights: e.g.
    Robinson & Gilliland, Elements of Fractional Distillation, 4th ed., chapter 7; from memory).
    """

    def __init__(self, mixture: Equilibrium, heats: Array, reference: float) -> None:
        self._mixture = mixture
        self._factor = heats / reference

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Return T and y for scaled mole fractions, y scaled too."""
        T, y = self._mixture.bubble_point(unit(np.asarray(x) / self._factor), pressure)
        return T, unit(y * self._factor)


def unit(amounts: Array) -> Array:
    """Amounts (..., n) divided by their sum; nothing at all becomes equal parts, so that no NaN arises."""
    whole = total(amounts)[..., None]
    if whole.size and whole.min() > 0.0:
        return np.asarray(amounts / whole, dtype=np.float64)
    n = amounts.shape[-1]
    return np.asarray(np.where(whole > 0.0, amounts / np.where(whole > 0.0, whole, 1.0), 1.0 / n), dtype=np.float64)


def vapour_over(mixture: Equilibrium, x: Array, pressure: Array) -> Array:
    """Vapour y (..., n) over boiling liquids, without their temperature where the mixture can do without."""
    quick = getattr(mixture, "vapour", None)
    return np.asarray(mixture.bubble_point(x, pressure)[1] if quick is None else quick(x))


def laid_out(shape: tuple[int, ...], inner: int = 1) -> Array:
    """Empty array of ``shape``, its last ``inner`` axes outermost in memory.

    Components are few and scenarios many: operations then run along scenarios, several times as fast as along three
    components at a time. What numpy computes from such arrays, element by element, is laid out in the same way.
    """
    few = len(shape) - inner
    order = np.empty((*shape[few:], *shape[:few]))
    return order.transpose(*range(inner, len(shape)), *range(inner))


def total(amounts: Array) -> Array:
    """Sum over the last axis, the components; adding the few slices is several times as fast as a reduction."""
    out = amounts[..., 0]
    for k in range(1, amounts.shape[-1]):
        out = out + amounts[..., k]
    return np.asarray(out)
