"""Time, heat and cooling water of a planned distillation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.still import Distillation

Array = NDArray[np.float64]

WATER_HEAT = 4.18e6
"""J/m3/K, heat capacity of a cubic metre of water near 20 °C (from memory)."""

USUAL_RISE = 10.0
"""K by which cooling water warms up when the sheet says nothing; common practice, no source."""

USUAL_STARTUP = {True: 1800.0, False: 600.0}
"""s from the first boiling to the first drop taken, with a column and without; common practice, no source."""


@dataclass(frozen=True)
class Rates:
    """What limits the boil-up of one set-up, (S,) each: W, and m3/s of boiling liquid; infinite where nothing does.

    volumes : (n,) m3 of a mole of each boiling liquid. startup : s. longest : s in all, infinite where not limited.
    """

    power: Array
    flow: Array
    volumes: Array
    startup: float
    longest: float

    @property
    def known(self) -> bool:
        """Whether times can be told."""
        return bool(np.all(np.isfinite(self.power) | np.isfinite(self.flow)))


@dataclass(frozen=True)
class Course:
    """Time (s, the start-up included) and heat (J, the same) along a distillation, (S, K), over ``mass`` (S, K) kg."""

    mass: Array
    time: Array
    heat: Array

    def at(self, mass: Array) -> tuple[Array, Array]:
        """Time and heat (S,) when ``mass`` (S,) kg have come over."""
        return along(self.mass, self.time, mass), along(self.mass, self.heat, mass)

    def mass_at(self, time: float) -> Array:
        """Kilograms (S,) over at ``time`` s."""
        return along(self.time, self.mass, np.full(len(self.mass), time))


def course(distillation: Distillation, rates: Rates) -> Course:
    """Lay out time and heat: at every moment the slower of heater and column sets the boil-up.

    What boils up is counted in volumes of what comes over, since the top of the column is where it floods first.
    """
    heat, vapour = distillation.heat, distillation.vapour
    step = np.maximum(np.diff(heat, axis=1) / rates.power[:, None], 0.0)
    if np.any(np.isfinite(rates.flow)):
        volume = distillation.distillate @ rates.volumes
        step = np.maximum(step, np.diff(vapour, axis=1) * 0.5 * (volume[:, 1:] + volume[:, :-1]) / rates.flow[:, None])
    time = np.concatenate([np.zeros((len(heat), 1)), np.cumsum(step, axis=1)], axis=1)
    # while the column fills at total reflux it boils as fast as it will at the first drop
    rate = np.where(step[:, :1] > 0.0, np.diff(heat, axis=1)[:, :1] / np.maximum(step[:, :1], 1e-300), 0.0)
    if not rates.known:
        return Course(distillation.distilled_mass, np.full(heat.shape, np.nan), heat)
    return Course(distillation.distilled_mass, time + rates.startup, heat + rates.startup * rate)


def coolant(heat: Array, rise: float | None) -> Array:
    """Cooling water in m3 that takes ``heat`` J away while warming by ``rise`` K."""
    return np.asarray(heat / (WATER_HEAT * (USUAL_RISE if rise is None else rise)))


def along(rising: Array, values: Array, wanted: Array) -> Array:
    """Values (S,) where ``rising`` (S, K) reaches ``wanted`` (S,), linear between the points, ends beyond them."""
    row = np.arange(len(rising))
    k = np.clip((rising < wanted[:, None]).sum(axis=1) - 1, 0, max(rising.shape[1] - 2, 0))
    start, width = rising[row, k], rising[row, k + 1] - rising[row, k]
    part = np.clip(np.where(width > 0.0, (wanted - start) / np.where(width > 0.0, width, 1.0), 1.0), 0.0, 1.0)
    return np.asarray(values[row, k] + part * (values[row, k + 1] - values[row, k]))
