"""Azeotropes with a component that is not in the sheet whose boiling point is that of a flat head temperature."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Hypothesis, Variant
from fractionkit.diagnosis.laplace import Change
from fractionkit.mixture import Mixture
from fractionkit.mixture.azeotropes import AzeotropePoint
from fractionkit.substances import get
from fractionkit.substances.catalogue import names

Array = NDArray[np.float64]

FLAT = 0.6  # K, most that the head temperature of a cut on a plateau rises
NEAR = 1.5  # K, how far from the azeotrope a plateau may lie; thermometer and pressure may be off
SPREAD = 0.4  # K, one standard deviation of the azeotrope's own boiling point
LEAST = 0.005  # mass fraction of the foreign component below which the azeotrope is next to pure
PARTNERS = ("alcohol", "ketone", "ester", "hydrocarbon", "water")
ODDS = 0.02  # all azeotropes that match together


def hypotheses(base: Ground) -> list[Hypothesis]:
    """One hypothesis for each pair of a component of the run and one of the catalogue."""
    start, end = base.evidence.head_start.value, base.evidence.head_end.value
    flat = np.abs(end - start) < FLAT
    middle = 0.5 * (start + end)
    if not flat.any():
        return []
    found: list[tuple[str, str, AzeotropePoint, NDArray[np.bool_]]] = []
    for other in names():
        if other in base.mixture.names or get(other).family not in PARTNERS:
            continue
        for own in base.mixture.names:
            if float(middle[flat].min()) > _highest(own, other, base.evidence.pressure):
                continue
            point = _azeotrope(own, other, round(base.evidence.pressure, -2))
            if point is None or point.w[1] < LEAST:
                continue
            rows = flat & (np.abs(middle - point.T) < NEAR)
            if rows.any():
                found.append((own, other, point, rows))
    return [_hypothesis(base, own, other, point, rows, ODDS / len(found)) for own, other, point, rows in found]


def _highest(own: str, other: str, pressure: float) -> float:
    """K, above any azeotrope of the pair: below the lighter one, but ketones and esters also form maxima."""
    boiling = [float(get(name).vapour_pressure.boiling_temperature(pressure)) for name in (own, other)]
    return max(boiling) + NEAR if get(other).family in ("ketone", "ester") else min(boiling) + NEAR


@lru_cache(maxsize=512)
def _azeotrope(own: str, other: str, pressure: float) -> AzeotropePoint | None:
    return Mixture([own, other]).azeotrope(0, 1, pressure)


def _hypothesis(
    base: Ground, own: str, other: str, point: AzeotropePoint, rows: NDArray[np.bool_], prior: float
) -> Hypothesis:
    """Cuts on the plateau are the azeotrope itself; the size is how far its boiling point is off, K."""
    mixture = Mixture([own, other])
    T = np.nan_to_num(base.evidence.density_temperature, nan=293.15)
    density = mixture.density(np.broadcast_to(point.w, (len(T), 2)), T)
    column = rows[:, None].astype(float)

    def at(kelvin: float) -> Change:
        change = {}
        for channel in base.block.channels:
            if channel.kind == "head temperature":
                change[channel.kind] = column * (point.T + kelvin - channel.prediction)
            elif channel.kind == "density":
                change[channel.kind] = column * (density[:, None] - channel.prediction)
        return change

    label = ", ".join(name for name, on in zip(base.evidence.names, rows, strict=True) if on)
    return Hypothesis(f"azeotrope: {other} + {own}", other, prior, (Variant(1.0, at, SPREAD, label=label),), "K")
