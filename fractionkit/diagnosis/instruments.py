"""Faults of instruments and of what was written down."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import POT
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Hypothesis, Variant
from fractionkit.diagnosis.laplace import Change

Array = NDArray[np.float64]

TEMPERATURES = ("head temperature", "first drop", "dry point")
# Prior odds against "nothing is wrong" and sizes (one standard deviation of the prior): common practice, no source.
ODDS = {
    "sea-level pressure": 0.06,
    "thermometer offset": 0.03,
    "low bulb": 0.05,
    "density temperature": 0.04,
    "specific gravity as density": 0.03,
    "density as specific gravity": 0.03,
    "density offset": 0.01,
    "bubble": 0.08,
}
ALTITUDE_SCALE = 700.0  # m
THERMOMETER_SCALE = 2.0  # K
LOW_BULB_SCALE = 5.0  # K
DENSITY_TEMPERATURE_SCALE = 5.0  # K
DENSITY_SCALE = 4.0  # kg/m3
BUBBLE_SCALE = 12.0  # kg/m3
# Density of water over 1 g/mL at the usual bases (Tanaka et al., Metrologia 38 (2001) 301): 20 C, 25 C, 60 F.
WATER = (("20/20", 0.998207, 0.6), ("25/25", 0.997047, 0.2), ("60/60 F", 0.999016, 0.2))
# International standard atmosphere, ISO 2533: p/p0 = (1 - 2.25577e-5 h)^5.25588
LAPSE, POWER = 2.25577e-5, 5.25588


def hypotheses(base: Ground, *, station: bool = True, gravity: bool = False) -> list[Hypothesis]:
    """Every instrument fault that the readings of the run could show.

    station : the pressure was given as a station value. gravity : densities were written as specific gravity.
    """
    found = []
    if any(base.has(kind) for kind in TEMPERATURES):
        found += ([_sea_level(base)] if station else []) + [_offset()]
    if base.has("head temperature") and np.isfinite(base.evidence.head_start.value[0]):
        found.append(_low_bulb(base))
    if base.has("density"):
        found += [_density_temperature(base), _gravity(base, gravity), _density_offset(), _bubble(base)]
    return found


def _one(code: str, unit: str, *variants: Variant) -> Hypothesis:
    return Hypothesis(code, code, ODDS[code], variants, unit)


def _sea_level(base: Ground) -> Hypothesis:
    slopes = boiling_slopes(base)

    def at(altitude: float) -> Change:
        fall = POWER * np.log(1.0 - LAPSE * min(max(altitude, -500.0), 5000.0))
        return {kind: slope * fall for kind, slope in slopes.items()}

    return _one("sea-level pressure", "m", Variant(1.0, at, ALTITUDE_SCALE, one_sided=True))


def boiling_slopes(base: Ground) -> dict[str, Array]:
    """Change of each boiling temperature for one unit of ln pressure, on the nodes."""
    coordinates = base.block.nodes.coordinates
    found = {}
    for kind, table in (
        ("head temperature", base.setting.dew),
        ("dry point", base.setting.dry),
        ("first drop", base.setting.bubble),
        (POT, base.setting.bubble),
    ):
        if table is not None and base.has(kind):
            found[kind] = table.at(coordinates).by_pressure
    return found


def _offset() -> Hypothesis:
    def at(kelvin: float) -> Change:
        return {kind: np.full((1, 1), kelvin) for kind in TEMPERATURES}

    return _one("thermometer offset", "K", Variant(1.0, at, THERMOMETER_SCALE))


def _low_bulb(base: Ground) -> Hypothesis:
    first = np.zeros((base.evidence.size, 1))
    first[0] = 1.0

    def at(kelvin: float) -> Change:
        return {"head temperature": -kelvin * first}

    return _one("low bulb", "K", Variant(1.0, at, LOW_BULB_SCALE, one_sided=True))


def _density_temperature(base: Ground) -> Hypothesis:
    slope = density_slope(base)

    def at(kelvin: float) -> Change:
        return {"density": slope * kelvin}

    return _one(
        "density temperature",
        "K",
        Variant(0.35, lambda _: at(5.0), label="5"),
        Variant(0.15, lambda _: at(-5.0), label="-5"),
        Variant(0.5, at, DENSITY_TEMPERATURE_SCALE),
    )


def density_slope(base: Ground) -> Array:
    """Change of density with temperature, kg/m3/K (K, G), on the nodes at the temperature of each density."""
    T = np.nan_to_num(base.evidence.density_temperature, nan=293.15)[:, None]
    w = base.block.nodes.w
    return np.asarray(base.mixture.density(w, T + 0.5) - base.mixture.density(w, T - 0.5))


def _gravity(base: Ground, gravity: bool) -> Hypothesis:
    prediction = next(c for c in base.block.channels if c.kind == "density").prediction
    code = "density as specific gravity" if gravity else "specific gravity as density"
    variants = []
    for basis, water, weight in WATER:
        factor = water - 1.0 if gravity else 1.0 / water - 1.0
        change = {"density": prediction * factor}
        variants.append(Variant(weight, _fixed(change), label=basis))
    return _one(code, "", *variants)


def _density_offset() -> Hypothesis:
    return _one("density offset", "kg/m3", Variant(1.0, lambda size: {"density": np.full((1, 1), size)}, DENSITY_SCALE))


def _bubble(base: Ground) -> Hypothesis:
    rows = np.flatnonzero(np.isfinite(base.evidence.density.value))
    variants = []
    for row in rows:
        one = np.zeros((base.evidence.size, 1))
        one[row] = 1.0
        label = base.evidence.names[row]
        variants.append(Variant(1.0 / len(rows), _one_cut(one), BUBBLE_SCALE, label=label))
    return _one("bubble", "kg/m3", *variants)


def _fixed(change: Change) -> Callable[[float], Change]:
    return lambda _: change


def _one_cut(one: Array) -> Callable[[float], Change]:
    return lambda size: {"density": size * one}
