"""Density by weighing a vessel empty, with water and with each cut: value and propagated uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.readings import vessel
from fractionkit.readings.atmosphere import AIR_SOURCE, air_density
from fractionkit.readings.checks import ZERO_CELSIUS
from fractionkit.readings.density_inputs import DensityReadings, Vessel
from fractionkit.readings.methods import Method, balance_resolution
from fractionkit.readings.terms import Correction
from fractionkit.readings.water import TANAKA_SOURCE, WATER_DENSITY_U, water_density, water_density_slope

Array = NDArray[np.float64]

ROOM = ZERO_CELSIUS + 20.0
AIR_U = 0.02  # kg/m3: room 15-25 °C, any humidity, weather (common practice, no source)


@dataclass(frozen=True)
class Weighing:
    """Densities by weight (K,): value, bias, repeat in kg/m3; per_kelvin: change for 1 K too much at the water."""

    value: Array
    bias: Array
    repeat: Array
    per_kelvin: Array
    uncorrected: Array
    air: float

    @classmethod
    def of(cls, readings: DensityReadings, weighed: Vessel, used: Method, pressure: float) -> Weighing:
        """Propagate the weighings and the filling; partial derivatives of `vessel.vessel_density`."""
        net, net_water = readings.filled_mass - weighed.empty_mass, weighed.water_mass - weighed.empty_mass
        air = float(air_density(ROOM, pressure))
        value = vessel.vessel_density(
            net, readings.temperature, net_water, weighed.water_temperature, air, expansion=weighed.expansion
        )
        masses = np.append(readings.filled_mass, [weighed.empty_mass, weighed.water_mass])
        u_mass = balance_resolution(masses) if weighed.balance_u is None else weighed.balance_u
        volume = float(vessel.vessel_volume(net_water, weighed.water_temperature, air))
        filling = float(np.hypot(used.filling[0] / volume, used.filling[1]))
        heavy = value - air
        water = float(water_density(weighed.water_temperature))
        repeat = heavy * np.hypot(u_mass / net, filling)
        from_glass = 0.2 * weighed.expansion * (readings.temperature - weighed.water_temperature)
        parts = (
            u_mass / net_water,
            filling,
            u_mass * (1.0 / net_water - 1.0 / net),
            WATER_DENSITY_U / (water - air),
            from_glass,
            AIR_U * (1.0 - net / net_water) / heavy,
        )
        bias = heavy * np.sqrt(sum((np.asarray(part) ** 2 for part in parts), start=np.zeros_like(heavy)))
        per_kelvin = heavy / (water - air) * float(water_density_slope(weighed.water_temperature))
        return cls(value, bias, repeat, per_kelvin, net / net_water * water, air)

    def corrections(self, full: NDArray[np.bool_]) -> list[Correction]:
        """What the weighings went through, as means over the run."""
        change = float(np.mean((self.value - self.uncorrected)[full]))
        what = f"air of {self.air:.3f} kg/m3 and expansion of the glass, against the bare ratio of the weighings"
        source = f"{vessel.BUOYANCY_SOURCE}; {AIR_SOURCE}"
        spread = float(np.mean(self.bias[full]))
        return [
            Correction("vessel weighed with water: its volume", 0.0, spread, "kg/m3", TANAKA_SOURCE),
            Correction(what, change, 0.02 * abs(change), "kg/m3", source),
        ]
