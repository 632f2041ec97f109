"""Pure water: density, its slope, and the temperature of steam at a pressure."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, demand, faults_outside, plain

Array = NDArray[np.float64]

TANAKA_SOURCE = "Tanaka et al., Metrologia 38 (2001) 301, eq. 1: air-free water of ocean isotopes, 101.325 kPa, 0-40 °C"
IF97_SOURCE = "IAPWS-IF97 (2007 release), eq. 31: saturation temperature of water"
# Tap or boiled-out distilled water holds some air (up to 0.0047 kg/m3 lighter at 0 °C, 0.002 at 25 °C, same paper,
# eq. 2, from memory) and differs a little in isotopes: this dwarfs the equation's own 0.0009 kg/m3.
WATER_DENSITY_U = 0.003

_A1, _A2, _A3, _A4, _A5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950
WATER_LOW, WATER_HIGH = ZERO_CELSIUS, ZERO_CELSIUS + 40.0
STEAM_LOW, STEAM_HIGH = 1e4, 2e5

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def water_density(temperature: ArrayLike, *, place: Place | None = None) -> Array:
    """Density of air-free water at 101.325 kPa.

    temperature : (...) K, from 273.15 to 313.15; NaN gives NaN. place : where they stand, for the message.
    Returns (...) kg/m3, standard uncertainty `WATER_DENSITY_U` for bench water.
    Raises `OutOfRangeError` outside 0-40 °C, where the equation does not hold.

    Source: Tanaka et al., Metrologia 38 (2001) 301, eq. 1. Pressure is left out: 4.9e-7 per kPa.
    """
    t = _checked(temperature, place)
    return np.asarray(_A5 * (1.0 - (t + _A1) ** 2 * (t + _A2) / (_A3 * (t + _A4))))


def water_density_slope(temperature: ArrayLike, *, place: Place | None = None) -> Array:
    """Derivative of `water_density`, kg/m3/K, (...) for (...) K; same range and errors."""
    t = _checked(temperature, place)
    top = (t + _A1) ** 2 * (t + _A2)
    top_slope = 2.0 * (t + _A1) * (t + _A2) + (t + _A1) ** 2
    return np.asarray(-_A5 / _A3 * (top_slope * (t + _A4) - top) / (t + _A4) ** 2)


def _checked(temperature: ArrayLike, place: Place | None) -> Array:
    kelvin = np.asarray(temperature, dtype=float)
    where = place or Place("water temperature")
    # A hundredth of a degree of grace, so that 0 °C and 40 °C survive their conversion from °F.
    low, high = WATER_LOW - 0.01, WATER_HIGH + 0.01
    demand(faults_outside(kelvin, low, high, where, "a temperature of water from 0 to 40 °C", celsius))
    return kelvin - ZERO_CELSIUS


def steam_temperature(pressure: ArrayLike) -> Array:
    """Temperature of saturated steam, the steam point of a thermometer.

    pressure : (...) Pa, from 10 to 200 kPa. Returns (...) K. Raises `OutOfRangeError` outside.
    Source: IAPWS-IF97, eq. 31 (backward form, no iteration); within 0.003 K of IAPWS-95 here.
    """
    p = np.asarray(pressure, dtype=float)
    demand(faults_outside(p, STEAM_LOW, STEAM_HIGH, Place("pressure"), "a pressure from 10 to 200 kPa, in Pa", plain))
    beta = (p / 1e6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f**2 - 4.0 * e * g))
    return np.asarray(0.5 * (_N[9] + d - np.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))))


def steam_slope(pressure: ArrayLike) -> Array:
    """Derivative of `steam_temperature`, K/Pa, by a central difference of 10 Pa; (...) for (...) Pa."""
    p = np.asarray(pressure, dtype=float)
    return np.asarray((steam_temperature(p + 10.0) - steam_temperature(p - 10.0)) / 20.0)
