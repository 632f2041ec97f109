"""The dataclasses of the catalogue: constants with source, status and standard uncertainty, and their equations.

Inside, everything is SI: K, Pa, kg/m3, kg/mol, J/mol. The methods take scalars or arrays of any shape and return
arrays of that shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

LN10 = 2.302585092994046
#: Normal pressure [Pa], at which every accepted boiling point stands.
NORMAL_PRESSURE = 101_325.0
#: Outside its range an extension is trusted to this share of the change since the end of the range. The slope of
#: ln p against 1/T (the heat of vaporization) changes by roughly a tenth over 50 K, which is half that share in ln p.
EXTENSION_ERROR = 0.05

Array = NDArray[np.float64]

FAMILIES = (
    "chloroalkane",
    "chloroalkene",
    "chloroaromatic",
    "alcohol",
    "ketone",
    "ester",
    "hydrocarbon",
    "water",
    "inorganic",
)
STATUSES = ("read in a copy", "from memory", "computed")


def cited(source: str, status: str) -> str:
    """A source with what is known of it in brackets, where the source does not say that itself."""
    return source if status in source else f"{source} ({status})"


@dataclass(frozen=True)
class Value:
    """One constant: ``value`` and its standard uncertainty ``u`` in ``unit``, with source and status."""

    value: float
    u: float
    unit: str
    source: str
    status: str


class SourceValue(NamedTuple):
    """What one other source says of a property (SI); ``temperature`` [K] where the property depends on it."""

    property: str
    source: str
    value: float
    temperature: float | None


class Outlier(NamedTuple):
    """A source that is known to be off in one property, with the reason."""

    property: str
    source: str
    reason: str


@dataclass(frozen=True)
class Antoine:
    """Vapour pressure, log10(P/Pa) = A - B/(T/K + C) between ``t_min`` and ``t_max`` [K].

    Outside the range ln p goes on as a straight line in 1/T (Clausius-Clapeyron with the heat of vaporization at
    the end of the range), so that value and first derivative are continuous. ``u_ln`` is the standard uncertainty
    of ln p near the normal boiling point.
    """

    A: float
    B: float
    C: float
    t_min: float
    t_max: float
    u_ln: float
    source: str
    status: str

    def _slope(self, t: float) -> float:
        """d(ln p)/d(1/T) [K] of the equation itself at ``t``."""
        return -LN10 * self.B * (t / (t + self.C)) ** 2

    def _equation(self, t: Array) -> Array:
        return LN10 * (self.A - self.B / (t + self.C))

    def ln_pressure(self, temperature: ArrayLike) -> Array:
        """Natural logarithm of the vapour pressure in Pa, shape of ``temperature`` [K]."""
        t = np.asarray(temperature, dtype=float)
        inside = np.clip(t, self.t_min, self.t_max)
        slope = np.where(t < self.t_min, self._slope(self.t_min), self._slope(self.t_max))
        return np.asarray(self._equation(inside) + slope * (1.0 / t - 1.0 / inside))

    def dln_pressure_dT(self, temperature: ArrayLike) -> Array:
        """Derivative of `ln_pressure` [1/K], shape of ``temperature`` [K]."""
        t = np.asarray(temperature, dtype=float)
        inside = np.clip(t, self.t_min, self.t_max)
        return np.asarray(LN10 * self.B * (inside / ((inside + self.C) * t)) ** 2)

    def boiling_temperature(self, pressure: ArrayLike) -> Array:
        """Temperature [K] at which the vapour pressure is ``pressure`` [Pa]: the exact inverse of `ln_pressure`."""
        ln_p = np.log(np.asarray(pressure, dtype=float))
        low, high = (float(self._equation(np.asarray(t))) for t in (self.t_min, self.t_max))
        inside = np.clip(ln_p, low, high)
        end = self.B / (self.A - inside / LN10) - self.C
        slope = np.where(ln_p < low, self._slope(self.t_min), self._slope(self.t_max))
        return np.asarray(1.0 / (1.0 / end + (ln_p - inside) / slope))

    def u_at(self, temperature: ArrayLike) -> Array:
        """Standard uncertainty of ln p, shape of ``temperature`` [K]; wider outside the range of the equation."""
        t = np.asarray(temperature, dtype=float)
        end = np.clip(t, self.t_min, self.t_max)
        return np.hypot(self.u_ln, EXTENSION_ERROR * (self.ln_pressure(t) - self._equation(end)))


@dataclass(frozen=True)
class DensityFit:
    """Liquid density, rho_ref + slope d + curvature d**2 with d = T - t_ref, between ``t_min`` and ``t_max`` [K].

    kg/m3 and K. Outside the range the density goes on as a straight line with the slope at its end.
    """

    rho_ref: float
    t_ref: float
    slope: float
    curvature: float
    t_min: float
    t_max: float
    u: float
    u_slope: float
    source: str
    status: str

    def at(self, temperature: ArrayLike) -> Array:
        """Density [kg/m3], shape of ``temperature`` [K]."""
        t = np.asarray(temperature, dtype=float)
        inside = np.clip(t, self.t_min, self.t_max)
        d = inside - self.t_ref
        value = self.rho_ref + (self.slope + self.curvature * d) * d
        return np.asarray(value + (self.slope + 2.0 * self.curvature * d) * (t - inside))

    def u_at(self, temperature: ArrayLike) -> Array:
        """Standard uncertainty [kg/m3], shape of ``temperature`` [K]: grows with the distance from ``t_ref``."""
        t = np.asarray(temperature, dtype=float)
        outside = EXTENSION_ERROR * self.slope * (t - np.clip(t, self.t_min, self.t_max))
        return np.asarray(np.sqrt(self.u**2 + (self.u_slope * (t - self.t_ref)) ** 2 + outside**2))


@dataclass(frozen=True)
class RefractiveFit:
    """Refractive index at the sodium D line, n_ref + slope (T - t_ref); ``u`` is its standard uncertainty at t_ref."""

    n_ref: float
    t_ref: float
    slope: float
    u: float
    source: str
    status: str

    def at(self, temperature: ArrayLike) -> Array:
        """Refractive index nD, shape of ``temperature`` [K]."""
        return np.asarray(self.n_ref + self.slope * (np.asarray(temperature, dtype=float) - self.t_ref))

    def u_at(self, temperature: ArrayLike) -> Array:
        """Standard uncertainty of nD: a tenth of the slope is taken as the slope's own."""
        d = np.asarray(temperature, dtype=float) - self.t_ref
        return np.hypot(self.u, 0.1 * self.slope * d)


@dataclass(frozen=True)
class Substance:
    """All physical constants of one substance.

    ``dissolved`` marks what is met only as a solute in these liquids (chlorine, hexachloroethane): its liquid
    constants are extrapolated and carry a large uncertainty.
    """

    name: str
    cas: str
    formula: str
    family: str
    dissolved: bool
    synonyms: tuple[str, ...]
    molar_mass: Value
    boiling_point: Value
    vapour_pressure: Antoine
    density: DensityFit
    refractive_index: RefractiveFit | None
    heat_of_vaporization: Value
    conflicts: tuple[str, ...]
    sources: tuple[SourceValue, ...]
    outliers: tuple[Outlier, ...]
