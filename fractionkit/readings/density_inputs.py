"""Density readings as written, the vessel they were weighed in, and the faults that either can have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, OutOfRangeError
from fractionkit.readings import vessel
from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, check_uncertainty, demand, faults_outside

Array = NDArray[np.float64]

DENSITY_LOW, DENSITY_HIGH = 500.0, 3500.0
TEMPERATURE_LOW, TEMPERATURE_HIGH = ZERO_CELSIUS - 20.0, ZERO_CELSIUS + 120.0


@dataclass(frozen=True)
class Vessel:
    """A vessel weighed: kg empty and full of water at ``water_temperature`` (K); volume expansion of its glass, 1/K.

    balance_u : kg, standard uncertainty of one weighing; None takes one last digit of the masses.
    """

    empty_mass: float
    water_mass: float
    water_temperature: float
    expansion: float = vessel.BOROSILICATE
    balance_u: float | None = None


@dataclass(frozen=True)
class DensityReadings:
    """Densities as written, arrays (K,), NaN where not taken.

    value : kg/m3, or the specific gravity where ``is_gravity``; basis : (K, 2) °C of sample and water, NaN where none;
    temperature : K of the sample; filled_mass : kg of the vessel full of it, in place of a value.
    """

    value: Array
    is_gravity: NDArray[np.bool_]
    basis: Array
    temperature: Array
    filled_mass: Array

    @classmethod
    def of(
        cls,
        value: ArrayLike,
        temperature: ArrayLike,
        *,
        is_gravity: ArrayLike = False,
        basis: ArrayLike = np.nan,
        filled_mass: ArrayLike = np.nan,
    ) -> DensityReadings:
        """Broadcast what was taken to (K,), K being the longest."""
        size = max(np.size(value), np.size(temperature), np.size(filled_mass), 1)

        def spread(given: ArrayLike) -> Array:
            return np.broadcast_to(np.asarray(given, dtype=float), (size,)).copy()

        flags = np.broadcast_to(np.asarray(is_gravity, dtype=bool), (size,)).copy()
        pairs = np.broadcast_to(np.asarray(basis, dtype=float), (size, 2)).copy()
        return cls(spread(value), flags, pairs, spread(temperature), spread(filled_mass))


def check_readings(
    readings: DensityReadings, weighed: Vessel | None, file: str | None, rows: Sequence[int] | None
) -> None:
    """Refuse what cannot be, all faults at once."""
    column = Place("density", file, rows)
    warm, filled = replace(column, column="density_temp"), replace(column, column="filled_mass")
    by_weight, typed = ~np.isnan(readings.filled_mass), ~np.isnan(readings.value)
    gravity = typed & readings.is_gravity
    needs = by_weight | (typed & ~readings.is_gravity)
    expected = "a temperature of the sample from -20 to 120 °C"
    faults = faults_outside(readings.temperature, TEMPERATURE_LOW, TEMPERATURE_HIGH, warm, expected, celsius)
    lacking = {
        "the temperature of the sample beside its density": (warm, needs & np.isnan(readings.temperature)),
        "a basis beside a specific gravity, such as sg20/20": (column, gravity & np.isnan(readings.basis).any(axis=1)),
        "either a density or a filled mass, not both": (column, by_weight & typed),
        "a density of a liquid, 0.5 to 3.5 g/mL; not infinity": (column, np.isinf(readings.value)),
        "a mass in g; not infinity": (filled, np.isinf(readings.filled_mass)),
    }
    for sentence, (place, wrong) in lacking.items():
        faults += [place.of(int(index), "", sentence) for index in np.flatnonzero(wrong)[:20]]
    if by_weight.any() and weighed is None:
        asked = "empty_mass, water_mass and water_temp of the vessel, because cuts have a filled mass"
        faults.append(Fault(None, asked, column="density"))
    if weighed is not None:
        faults += _vessel_faults(weighed)
        light = by_weight & ~(readings.filled_mass > weighed.empty_mass)
        sentence = f"a filled mass above the empty vessel's {1000.0 * weighed.empty_mass:.6g} g"
        faults += [
            filled.of(int(index), f"{1000.0 * readings.filled_mass[index]:.6g} g", sentence)
            for index in np.flatnonzero(light)[:20]
        ]
    demand(faults)


def _vessel_faults(weighed: Vessel) -> list[Fault]:
    check_uncertainty(weighed.balance_u, "density.balance")
    low, high = ZERO_CELSIUS - 0.01, ZERO_CELSIUS + 40.01
    place, expected = Place("density.water_temp"), "a temperature of the water from 0 to 40 °C"
    faults = faults_outside(weighed.water_temperature, low, high, place, expected, celsius, needed=True)
    if not 0.0 < weighed.empty_mass < np.inf:
        sentence = "a mass of the empty vessel above zero"
        faults.append(Fault(f"{1000.0 * weighed.empty_mass:.6g} g", sentence, column="density.empty_mass"))
    if not weighed.empty_mass < weighed.water_mass < np.inf:
        sentence = f"a mass with water above the empty vessel's {1000.0 * weighed.empty_mass:.6g} g"
        faults.append(Fault(f"{1000.0 * weighed.water_mass:.6g} g", sentence, column="density.water_mass"))
    return faults


def check_values(value: Array, readings: DensityReadings, file: str | None, rows: Sequence[int] | None) -> None:
    """Refuse corrected densities that no liquid of this trade has: a slip of the decimal point, a wrong vessel."""
    wrong = ~np.isnan(value) & ~((value >= DENSITY_LOW) & (value <= DENSITY_HIGH))
    faults = []
    for index in np.flatnonzero(wrong)[:20]:
        column = "filled_mass" if not np.isnan(readings.filled_mass[index]) else "density"
        shown = f"{value[index] / 1000.0:.5g} g/mL"
        faults.append(Place(column, file, rows).of(int(index), shown, "a density of a liquid, 0.5 to 3.5 g/mL"))
    if faults:
        raise OutOfRangeError(faults)
