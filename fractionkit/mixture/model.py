"""`Mixture`: the labelled layer over the array functions of the room."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.mixture import azeotropes, sensitivities
from fractionkit.mixture.arrays import Array, Flags, pairs, positive, simplex
from fractionkit.mixture.bubble import bubble_point, ln_k
from fractionkit.mixture.constants import Constants, from_substances
from fractionkit.mixture.dew import dew_point
from fractionkit.mixture.screen import NET, parts
from fractionkit.mixture.sensitivities import ModelError
from fractionkit.substances import get


class Mixture:
    """A liquid mixture of catalogue substances and the vapour over it.

    Compositions are arrays (..., n) in the order of ``names``; temperatures in K, pressures in Pa, densities in kg/m3;
    leading shapes broadcast.

    Parameters
    ----------
    names
        names, synonyms or CAS numbers of one or more different substances.
    activity
        ``"nrtl"`` (the pair table) or ``"ideal"`` (Raoult's law, to compare with).

    Raises
    ------
    UnknownSubstanceError
        for a name that is not in the catalogue.
    InputError
        for no name, a substance named twice, or another activity model.
    """

    def __init__(self, names: Sequence[str], *, activity: Literal["nrtl", "ideal"] = "nrtl") -> None:
        if isinstance(names, str) or len(names) == 0:
            raise InputError(Fault(repr(names), "a list of one or more substances"))
        if activity not in ("nrtl", "ideal"):
            raise InputError(Fault(str(activity), 'activity "nrtl" or "ideal"'))
        self.substances = tuple(get(name) for name in names)
        self.names = tuple(s.name for s in self.substances)
        for name in self.names:
            if self.names.count(name) > 1:
                raise InputError(Fault(name, "each substance of a mixture once"))
        self.n = len(self.names)
        self._adopt(from_substances(self.substances, activity))
        self.model_errors: tuple[ModelError, ...] = sensitivities.model_errors(self.constants, self.names)

    def __repr__(self) -> str:
        return f"Mixture({list(self.names)!r})"

    def _adopt(self, constants: Constants) -> None:
        self.constants = constants
        self.molar_mass = constants.molar_mass
        self._may_split: bool | None = None

    def perturbed(self, theta: ArrayLike) -> Mixture:
        """Return the mixture whose constants are shifted by ``theta`` (p,) standard uncertainties of `model_errors`."""
        shift = np.asarray(theta, dtype=np.float64)
        if shift.shape != (len(self.model_errors),):
            raise InputError(Fault(f"shape {shift.shape}", f"one shift for each of {len(self.model_errors)} errors"))
        other = object.__new__(Mixture)
        other.substances, other.names, other.n = self.substances, self.names, self.n
        other.model_errors = self.model_errors
        other._adopt(sensitivities.perturbed(self.constants, shift))
        return other

    # -- composition ---------------------------------------------------------------------------------------------

    def mole_fractions(self, w: ArrayLike) -> Array:
        """Mole fractions (..., n) of mass fractions ``w``."""
        moles = simplex(w, self.n, "mass fractions") / self.molar_mass
        return np.asarray(moles / moles.sum(axis=-1, keepdims=True), dtype=np.float64)

    def mass_fractions(self, x: ArrayLike) -> Array:
        """Mass fractions (..., n) of mole fractions ``x``."""
        mass = simplex(x, self.n, "mole fractions") * self.molar_mass
        return np.asarray(mass / mass.sum(axis=-1, keepdims=True), dtype=np.float64)

    # -- vapour and liquid ---------------------------------------------------------------------------------------

    def ln_gamma(self, x: ArrayLike, T: ArrayLike) -> Array:
        """Logarithm of the activity coefficients (..., n) at mole fractions ``x`` and ``T``; see `Activity`."""
        liquid, temperature = simplex(x, self.n, "mole fractions"), positive(T, "temperatures (K)")
        shape = np.broadcast_shapes(liquid.shape, (*temperature.shape, 1))
        return np.broadcast_to(self.constants.activity.evaluate(liquid, temperature).ln_gamma, shape).copy()

    def ln_psat(self, T: ArrayLike) -> Array:
        """Logarithm of the vapour pressures in Pa of the pure liquids, (..., n) for ``T`` (...)."""
        return self.constants.vapour.ln(positive(T, "temperatures (K)"))[0]

    def dln_psat_dT(self, T: ArrayLike) -> Array:
        """Slope d ln p/dT of `ln_psat`, (..., n), 1/K."""
        return self.constants.vapour.ln(positive(T, "temperatures (K)"))[1]

    def bubble_point(self, x: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Temperature (...) at which liquids ``x`` (..., n) boil, and the vapour y (..., n) over them.

        Modified Raoult's law, P = sum_i x_i gamma_i p_i, gas phase ideal.
        """
        liquid = simplex(x, self.n, "mole fractions")
        return bubble_point(
            self.constants.vapour, self.constants.activity, liquid, positive(pressure, "pressures (Pa)")
        )

    def dew_point(self, y: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
        """Temperature (...) at which vapours ``y`` (..., n) begin to condense, and the liquid x (..., n) that forms.

        Of several solutions the highest temperature, which is the stable one.
        """
        vapour = simplex(y, self.n, "mole fractions")
        c = self.constants
        # the net of liquids costs less than finding out whether any of them splits; without a net that is worth knowing
        several = not c.activity.ideal and (self.n in NET or self.may_split)
        return dew_point(c.vapour, c.activity, vapour, positive(pressure, "pressures (Pa)"), may_split=several)

    @property
    def may_split(self) -> bool:
        """Whether the model may form two liquid phases somewhere between 250 and 420 K."""
        if self._may_split is None:
            self._may_split = azeotropes.may_split(self.constants.activity)
        return self._may_split

    def parts(self, w: ArrayLike, T: ArrayLike) -> Flags:
        """Whether liquids with mass fractions ``w`` (..., n) at ``T`` (...) in K would stand in two layers."""
        x = self.mole_fractions(w)
        temperature = np.broadcast_to(positive(T, "temperatures (K)"), x.shape[:-1])
        if not self.may_split:
            return np.zeros(x.shape[:-1], dtype=bool)
        return parts(self.constants.activity, x.reshape(-1, self.n), temperature.ravel()).reshape(x.shape[:-1])

    def relative_volatility(self, x: ArrayLike, pressure: ArrayLike) -> Array:
        """Ratio K_i/K_n of each component to the last one at the bubble point, (..., n)."""
        liquid = simplex(x, self.n, "mole fractions")
        T, _ = self.bubble_point(liquid, pressure)
        log_k, _ = ln_k(self.constants.vapour, self.constants.activity, liquid, T)
        return np.asarray(np.exp(log_k - log_k[..., -1:]), dtype=np.float64)

    def azeotrope(self, i: int, j: int, pressure: float) -> azeotropes.AzeotropePoint | None:
        """Azeotrope of components i and j at ``pressure``, None where there is none; see `azeotropes.azeotrope`."""
        c = self.constants
        return azeotropes.azeotrope(c.vapour, c.activity, self.molar_mass, self._pair(i, j), _scalar(pressure))

    def immiscible_boiling_point(self, i: int, j: int, pressure: float) -> azeotropes.AzeotropePoint | None:
        """Boiling point of two liquids i and j that do not mix; see `azeotropes.immiscible_boiling_point`."""
        c = self.constants
        return azeotropes.immiscible_boiling_point(
            c.vapour, c.activity, self.molar_mass, self._pair(i, j), _scalar(pressure)
        )

    def _pair(self, i: int, j: int) -> tuple[int, int]:
        if i == j or not (0 <= i < self.n and 0 <= j < self.n):
            raise InputError(Fault(f"{i}, {j}", f"two different components, 0 to {self.n - 1}"))
        return i, j

    # -- liquid properties ---------------------------------------------------------------------------------------

    def density(self, w: ArrayLike, T: ArrayLike) -> Array:
        """Density (...) in kg/m3 of liquids with mass fractions ``w`` (..., n) at ``T`` (...) in K; see `Volume`."""
        mass, temperature = simplex(w, self.n, "mass fractions"), positive(T, "temperatures (K)")
        return self.constants.volume.density(mass, temperature, self.molar_mass)

    def density_gradient(self, w: ArrayLike, T: ArrayLike) -> Array:
        """Slope d rho/d w_i (..., n); along a change dw that sums to zero, d rho = sum_i gradient_i dw_i."""
        mass, temperature = simplex(w, self.n, "mass fractions"), positive(T, "temperatures (K)")
        return self.constants.volume.gradient(mass, temperature, self.molar_mass)

    def refractive_index(self, w: ArrayLike, T: ArrayLike) -> Array:
        """Refractive index (...) of liquids with mass fractions ``w``; OutOfRangeError if the catalogue lacks one."""
        self.constants.refraction.require(self.names)
        mass, temperature = simplex(w, self.n, "mass fractions"), positive(T, "temperatures (K)")
        return self.constants.refraction.index(
            self.constants.volume.share(mass, temperature, self.molar_mass), temperature
        )

    # -- sensitivities -------------------------------------------------------------------------------------------

    def bubble_point_errors(self, x: ArrayLike, T: ArrayLike, y: ArrayLike) -> Array:
        """Change of the bubble point (..., p) in K for one standard uncertainty of each of `model_errors`."""
        return sensitivities.temperature_errors(self.constants, np.asarray(y), np.asarray(x), np.asarray(T))

    def dew_point_errors(self, T: ArrayLike, x: ArrayLike) -> Array:
        """Change of the dew point (..., p) in K for one standard uncertainty of each of `model_errors`."""
        return sensitivities.temperature_errors(self.constants, np.asarray(x), np.asarray(x), np.asarray(T))

    def density_errors(self, w: ArrayLike, T: ArrayLike) -> Array:
        """Change of the density (..., p) in kg/m3 for one standard uncertainty of each of `model_errors`."""
        mass, temperature = simplex(w, self.n, "mass fractions"), positive(T, "temperatures (K)")
        by_density, by_excess = self.constants.volume.errors(mass, temperature, self.molar_mass)
        errors = np.zeros((*by_density.shape[:-1], len(self.model_errors)))
        where = sensitivities.blocks(self.n)
        errors[..., where["density"]] = by_density
        errors[..., where["excess_volume"]] = by_excess
        return errors

    def refractive_index_errors(self, w: ArrayLike, T: ArrayLike) -> Array:
        """Change of the refractive index (..., p) for one standard uncertainty of each of `model_errors`."""
        c = self.constants
        c.refraction.require(self.names)
        mass, temperature = simplex(w, self.n, "mass fractions"), positive(T, "temperatures (K)")
        share = c.volume.share(mass, temperature, self.molar_mass)
        _, by_excess = c.volume.errors(mass, temperature, self.molar_mass)
        relative = by_excess / c.volume.density(mass, temperature, self.molar_mass)[..., None]
        by_index = c.refraction.errors(share, temperature)
        errors = np.zeros((*by_index.shape[:-1], len(self.model_errors)))
        where = sensitivities.blocks(self.n)
        by_density = c.volume.pure_u(temperature) / c.volume.pure(temperature)
        errors[..., where["density"]] = c.refraction.density_errors(share, temperature, by_density)
        errors[..., where["excess_volume"]] = c.refraction.excess_errors(share, temperature, relative)
        errors[..., where["refractive_index"]] = by_index
        errors[..., where["refraction_rule"]] = c.refraction.rule_error(share, temperature)[..., None]
        return errors

    def bubble_slope(self, x: ArrayLike, T: ArrayLike, y: ArrayLike) -> Array:
        """Slope dT/dlnP (...) in K of the bubble point at fixed liquid."""
        slope = sensitivities.temperature_slope(self.constants, np.asarray(y), np.asarray(x), np.asarray(T))
        return np.asarray(1.0 / slope, dtype=np.float64)

    def dew_slope(self, T: ArrayLike, x: ArrayLike) -> Array:
        """Slope dT/dlnP (...) in K of the dew point at fixed vapour."""
        slope = sensitivities.temperature_slope(self.constants, np.asarray(x), np.asarray(x), np.asarray(T))
        return np.asarray(1.0 / slope, dtype=np.float64)

    def bubble_gradient(self, x: ArrayLike, T: ArrayLike, y: ArrayLike) -> Array:
        """dT/dx_k (..., n) of the bubble point at fixed pressure; for changes dx that sum to zero.

        sum_i dx_i gamma_i p_i/P + sum_i y_i sum_k (d ln gamma_i/dx_k) dx_k + slope dT = 0.
        """
        liquid, temperature, vapour = np.asarray(x), np.asarray(T), np.asarray(y)
        c = self.constants
        state = c.activity.evaluate(liquid, temperature, jacobian=True)
        log_k = state.ln_gamma + c.vapour.ln(temperature)[0]
        total = np.log((liquid * np.exp(log_k)).sum(axis=-1, keepdims=True))
        change = np.exp(log_k - total)
        if state.slope_x is not None:
            change = change + (vapour[..., :, None] * state.slope_x).sum(axis=-2)
        slope = sensitivities.temperature_slope(c, vapour, liquid, temperature)[..., None]
        return np.asarray(-change / slope, dtype=np.float64)

    def pair_sources(self) -> tuple[tuple[str, str, str, str], ...]:
        """Origin of every pair's activity and excess volume, for the report: (first, second, activity, volume)."""
        from fractionkit.mixture.constants import excess_volume
        from fractionkit.mixture.tables import activity_pairs

        rows = []
        for i, j in pairs(self.n):
            activity = activity_pairs()[self.names[i], self.names[j]]
            volume = excess_volume(self.substances[i], self.substances[j])
            rows.append((self.names[i], self.names[j], f"{activity.origin}: {activity.source}", volume.source))
        return tuple(rows)


def _scalar(pressure: float) -> float:
    return float(positive(pressure, "a pressure (Pa)"))
