"""What a way of measuring density is good for when nobody said: default uncertainties, and what it cannot resolve."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Method:
    """Standard uncertainties of one way of measuring density, and where they come from.

    bias, repeat : kg/m3, and bias_relative, repeat_relative : of the density; the two add in quadrature.
    thermometer : K, (bias, repeat) of the temperature that goes with the reading. filling : (m3, relative)
    repeatability of the volume filled, for a weighed vessel. words : the name in a sentence.
    """

    words: str
    bias: float
    bias_relative: float
    repeat: float
    repeat_relative: float
    thermometer: tuple[float, float]
    filling: tuple[float, float]
    source: str

    def bias_of(self, density: ArrayLike) -> Array:
        """Standard uncertainty of the bias at ``density`` (kg/m3)."""
        return np.asarray(np.hypot(self.bias, self.bias_relative * np.asarray(density, dtype=float)))

    def repeat_of(self, density: ArrayLike) -> Array:
        """Standard uncertainty of one fresh reading at ``density`` (kg/m3)."""
        return np.asarray(np.hypot(self.repeat, self.repeat_relative * np.asarray(density, dtype=float)))


_NO_FILLING = (1.5e-8, 3e-4)
METHODS: Mapping[str | None, Method] = {
    "meter": Method(
        "an oscillating meter",
        0.1,
        0.0,
        0.05,
        0.0,
        (0.05, 0.02),
        _NO_FILLING,
        "common practice, no source: adjusted with air and water, 0.1 kg/m3, thermostat within 0.1 K",
    ),
    "pycnometer": Method(
        "a pycnometer",
        0.4,
        0.0,
        0.15,
        0.0,
        (0.3, 0.15),
        (2e-9, 1e-4),
        "common practice, no source: a typed density without its weighings may leave out the air's buoyancy, up to 0.7 "
        "kg/m3; weighed on a 1 mg balance, the filling repeats to 2 microlitres and 1 part in 10 000",
    ),
    "flask": Method(
        "a volumetric flask",
        0.4,
        7e-4,
        0.0,
        3e-4,
        (0.3, 0.15),
        (1.5e-8, 0.0),
        "ISO 1042 class A, 50 mL ± 0.06 mL taken as rectangular (from memory); meniscus set to 0.015 mL and the air's "
        "buoyancy left out (common practice, no source)",
    ),
    "hydrometer": Method(
        "a hydrometer",
        1.0,
        0.0,
        0.5,
        0.0,
        (0.3, 0.15),
        _NO_FILLING,
        "common practice, no source: division 1 kg/m3, scale true to one division, surface tension not the scale's",
    ),
    "syringe": Method(
        "a syringe or graduated vessel",
        0.0,
        0.015,
        0.0,
        0.007,
        (0.5, 0.3),
        (1e-7, 0.005),
        "ISO 7886-1: plastic syringes of 5 mL and more ± 4 % (from memory); taken as 1.5 % for one 10 mL syringe, "
        "reading of the plunger 0.07 mL (common practice, no source)",
    ),
    None: Method(
        "a way of measuring that was not said",
        2.0,
        0.0,
        1.0,
        0.0,
        (0.5, 0.25),
        _NO_FILLING,
        "common practice, no source: between a flask and a poor hydrometer; say the method to do better",
    ),
}


def method_named(name: str | None) -> Method:
    """The way of measuring with this name. Raises `InputError` for an unknown one."""
    if name not in METHODS:
        known = ", ".join(sorted(key for key in METHODS if key))
        raise InputError(Fault(name, f"a way of measuring density: {known}", column="density.method"))
    return METHODS[name]


def smallest_fraction(u: float, span: float) -> float:
    """Mass fraction that a reading with standard uncertainty ``u`` tells apart in a pair, 1.96 u / |span|.

    u, span : the same unit (kg/m3, or index). Infinite where the pair does not differ: 95 % half-width of the fraction
    on a straight line between the two.
    """
    return float("inf") if span == 0.0 else 1.959964 * u / abs(span)


def resolves(u: float, span: float, wanted: float) -> bool:
    """Whether a reading answers to within ``wanted`` mass fraction (95 % half-width) in a pair ``span`` apart."""
    return smallest_fraction(u, span) <= wanted


def resolution_warning(words: str, u: float, span: float, wanted: float) -> str | None:
    """Sentence when ``words`` (a method) cannot answer the question asked; None when it can. See `resolves`."""
    if resolves(u, span, wanted):
        return None
    reached = smallest_fraction(u, span)
    told = "nothing of composition" if reached >= 1.0 else f"composition only to ± {100.0 * reached:.2g} wt%"
    return (
        f"Density alone, by {words} (± {1.959964e-3 * u:.2g} g/mL), tells {told}, the pure substances being "
        f"{1e-3 * abs(span):.3g} g/mL apart; the target asks for ± {100.0 * wanted:.2g} wt%: density alone cannot show it."
    )


RESOLUTIONS = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)  # kg: 1 g down to 0.1 mg


def balance_resolution(masses: ArrayLike) -> float:
    """Last digit of the balance, kg, as the masses (any shape, kg) show it: the coarsest that all are multiples of.

    At least 0.1 mg. Few masses may end in zero by chance; the answer is then too coarse, never too fine.
    """
    values = np.asarray(masses, dtype=float).ravel()
    values = values[np.isfinite(values)]
    for resolution in RESOLUTIONS:
        digits = values / resolution
        if np.all(np.abs(digits - np.round(digits)) < 1e-3):
            return resolution
    return RESOLUTIONS[-1]
