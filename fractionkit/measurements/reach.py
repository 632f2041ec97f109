"""What a reading can tell before anything is measured: the uncertainty that a target purity needs, and who reaches it.

A sample of a pair passes as ``purity`` when the probability of being at least that pure is at least the confidence (guarded
acceptance, JCGM 106:2012, 8.3.2). A pure sample has the most room, 1 - purity; it passes when the reading's change over that
room, |f(1) - f(purity)|, is at least z(confidence) standard uncertainties. So the reading, with the reference values it is
held against, may be uncertain by

    u_needed = |f(1) - f(purity)| / z(confidence),    u_reading^2 <= u_needed^2 - u_reference^2;

where u_reference alone is larger, no instrument will do. What a reading tells is its z(confidence) u over the change per unit
of mass fraction.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError, OutOfRangeError
from fractionkit.measurements import ways
from fractionkit.measurements.ways import Way
from fractionkit.mixture import Mixture
from fractionkit.readings.atmosphere import STANDARD_PRESSURE

Array = NDArray[np.float64]
Kind = Literal["density", "head temperature", "refractive index"]
KINDS: tuple[Kind, ...] = ("density", "head temperature", "refractive index")
UNITS: dict[Kind, str] = {"density": "kg/m3", "head temperature": "K", "refractive index": ""}

ROOM = 293.15
# A pair that a weighed pycnometer, its reference values included, cannot tell better than to 5 wt% is not told apart by
# density for any purpose of this trade (common practice, no source).
CANNOT = 0.05
USUAL = "pycnometer"


@dataclass(frozen=True)
class Reach:
    """What one way of reading tells. u : its standard uncertainty without the reference's; tells : mass fraction that it and
    the reference tell apart with the confidence asked; enough : whether the target can be shown at all.
    """

    way: str
    u: float
    tells: float
    enough: bool
    source: str


@dataclass(frozen=True)
class ReadingNeed:
    """One kind of reading for one pair, SI.

    change : of the reading from pure target to ``purity``. per_unit : the same for a unit of mass fraction. needed : standard
    uncertainty of reading and reference together; reference : of the reference values; instrument : what is left for
    the instrument, None where the reference alone is too uncertain. missing : why nothing can be said, "" else.
    """

    kind: Kind
    unit: str
    change: float
    per_unit: float
    needed: float
    reference: float
    instrument: float | None
    ways: tuple[Reach, ...]
    missing: str = ""


@dataclass(frozen=True)
class PairPlan:
    """The target with one other component. told_by_density : whether density tells the pair apart at all."""

    target: str
    other: str
    purity: float
    confidence: float
    density_per_wt_percent: float  # kg/m3
    told_by_density: bool
    readings: tuple[ReadingNeed, ...]

    def enough(self) -> list[tuple[Kind, Reach]]:
        """Ways that can show the target, the surest first."""
        found = [(need.kind, way) for need in self.readings for way in need.ways if way.enough]
        return sorted(found, key=lambda pair: pair[1].tells)

    def best(self) -> list[tuple[Kind, Reach]]:
        """The best way of each kind of reading, the surest first."""
        found = [(need.kind, min(need.ways, key=lambda way: way.tells)) for need in self.readings if need.ways]
        return sorted(found, key=lambda pair: pair[1].tells)


def plan_pairs(
    components: Iterable[str],
    target: str,
    purity: float,
    *,
    confidence: float = 0.95,
    temperature: float = ROOM,
    pressure: float = STANDARD_PRESSURE,
    pressure_u: float | None = None,
) -> tuple[PairPlan, ...]:
    """Plan the readings of the target with each other component.

    purity : mass fraction, below 1. temperature : K of density and index. pressure : Pa; pressure_u : Pa, that of a
    barometer read at the bench when None.

    Raises
    ------
    InputError
        for fewer than two components, a target that is none of them, or a purity outside 0-1.
    UnknownSubstanceError
        for a name that is not in the catalogue.
    """
    mixture = Mixture(list(components))
    if mixture.n < 2:
        raise InputError(Fault(", ".join(mixture.names), "two or more components", column="components"))
    wanted = _member(mixture, target)
    if not 0.0 < purity < 1.0:
        raise InputError(Fault(f"{100 * purity:g} wt%", "more than 0 and less than 100 wt%", column="purity"))
    others = [name for name in mixture.names if name != wanted]
    return tuple(
        _pair(Mixture([wanted, other]), purity, confidence, temperature, pressure, pressure_u) for other in others
    )


def _member(mixture: Mixture, target: str) -> str:
    from fractionkit.substances import canonical_name

    name = canonical_name(target)
    if name not in mixture.names:
        raise InputError(Fault(target, f"one of the components: {', '.join(mixture.names)}", column="target"))
    return name


def _pair(
    pair: Mixture, purity: float, confidence: float, temperature: float, pressure: float, pressure_u: float | None
) -> PairPlan:
    ends = np.array([[1.0, 0.0], [purity, 1.0 - purity]])
    z = -_normal_quantile(1.0 - confidence)
    slope = float(pair.density(ends[0], temperature + 0.5) - pair.density(ends[0], temperature - 0.5))
    first = float(pair.density(ends[0], temperature))
    density = _need(
        "density",
        pair.density(ends, temperature),
        _rss(pair.density_errors(ends[1], temperature)),
        ways.by_density(first, slope),
        purity,
        z,
    )
    boiling, liquid = pair.dew_point(pair.mole_fractions(ends), pressure)
    lnp_slope = float(pair.dew_slope(boiling[1:], liquid[1:])[0])
    model = _rss(pair.dew_point_errors(boiling[1:], liquid[1:])[0])
    head = _need("head temperature", boiling, model, ways.by_head(lnp_slope, pressure, pressure_u), purity, z)
    whole = pair.density(np.eye(2), temperature)
    usual = next(way for way in density.ways if way.way == USUAL)
    return PairPlan(
        pair.names[0],
        pair.names[1],
        purity,
        confidence,
        float(abs(whole[0] - whole[1])) / 100.0,
        usual.tells <= CANNOT,
        (density, head, _index(pair, ends, temperature, purity, z)),
    )


def _index(pair: Mixture, ends: Array, temperature: float, purity: float, z: float) -> ReadingNeed:
    try:
        values = pair.refractive_index(ends, temperature)
    except OutOfRangeError as error:
        nan = float("nan")
        reason = f"the catalogue has no refractive index of {error.faults[0].value}"
        return ReadingNeed("refractive index", "", nan, nan, nan, nan, None, (), reason)
    model = _rss(pair.refractive_index_errors(ends[1], temperature))
    return _need("refractive index", values, model, ways.by_index(), purity, z)


def _rss(errors: Array) -> float:
    return float(np.sqrt((np.asarray(errors) ** 2).sum()))


def _need(kind: Kind, values: Array, reference: float, offered: Iterable[Way], purity: float, z: float) -> ReadingNeed:
    change = abs(float(values[0]) - float(values[1]))
    per_unit = change / (1.0 - purity)
    needed = change / z
    room = needed**2 - reference**2
    reached = []
    for way in offered:
        total = math.hypot(way.u, reference)
        tells = min(z * total / per_unit, 1.0) if per_unit > 0.0 else 1.0
        reached.append(Reach(way.name, way.u, tells, total <= needed, way.source))
    return ReadingNeed(
        kind, UNITS[kind], change, per_unit, needed, reference, math.sqrt(room) if room > 0.0 else None, tuple(reached)
    )


def _normal_quantile(probability: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(probability)
