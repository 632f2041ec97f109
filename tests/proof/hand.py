"""What a careful person gets from the same readings by hand: straight density line, and Raoult's vapour curve."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.substances import get
from fractionkit.substances.packages import densities

Array = NDArray[np.float64]

HANDBOOK = "CRC Handbook"


@lru_cache(maxsize=64)
def handbook_density(name: str) -> tuple[float, float]:
    """Handbook density in kg/m3 and its temperature in K; the catalogue's where the handbook has none."""
    substance = get(name)
    for value in densities(substance.cas):
        if value.source.startswith(HANDBOOK) and value.temperature is not None:
            return value.value, value.temperature
    return substance.density.rho_ref, substance.density.t_ref


def by_density(names: Sequence[str], evidence: Evidence) -> Array:
    """Mass fraction (K,) of the first of two components from a straight line between the handbook's densities.

    The line's ends are moved to the reading's temperature with the catalogue's slope.
    """
    ends = []
    for name in names:
        value, at = handbook_density(name)
        ends.append(value + get(name).density.slope * (evidence.density_temperature - at))
    return np.clip((evidence.density.value - ends[1]) / (ends[0] - ends[1]), 0.0, 1.0)


def by_raoult(names: Sequence[str], evidence: Evidence) -> Array:
    """Mass fraction (K,) of the first of two components in the vapour over an ideal liquid at the mid head temperature.

    y1 = p1 (P - p2) / (P (p1 - p2)), vapour pressures from the catalogue.
    """
    T = 0.5 * (evidence.head_start.value + evidence.head_end.value)
    first, second = (10.0 ** (c.A - c.B / (T + c.C)) for c in (get(name).vapour_pressure for name in names))
    P = evidence.pressure
    y = np.clip(first * (P - second) / (P * (first - second)), 0.0, 1.0)
    mass = [get(name).molar_mass.value for name in names]
    return np.asarray(y * mass[0] / (y * mass[0] + (1.0 - y) * mass[1]))
