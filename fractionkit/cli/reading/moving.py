"""For `fractionkit reading density`: the step to another temperature, and what stands beside the result."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fractionkit.cli.reading.result import combined
from fractionkit.quantities import COVERAGE_95, Quantity, format_with_half_width, from_si
from fractionkit.readings import Correction, Densities, Vessel, air_density, density_at, method_named, vessel_volume
from fractionkit.readings.atmosphere import STANDARD_PRESSURE
from fractionkit.readings.density import TYPICAL_SLOPE

if TYPE_CHECKING:
    from fractionkit.substances import Substance

ROOM = 293.15  # K, where glassware is marked
Rows = tuple[tuple[str, str], ...]
# Slopes of these solvents run from -1.1 to -1.95 kg/m3/K about the readings room's typical one (common practice).
TYPICAL_SLOPE_U = 0.25


@dataclass(frozen=True)
class Moved:
    """A density [kg/m3] at the temperature wanted, its standard uncertainty, the steps there."""

    value: float
    u: float
    steps: tuple[Correction, ...]


def density_slope(pure: Substance | None, start: float, wanted: float) -> tuple[float, float, str]:
    """Mean slope [kg/m3/K] from ``start`` to ``wanted`` [K], its standard uncertainty, its source."""
    if pure is None:
        return TYPICAL_SLOPE, TYPICAL_SLOPE_U, "slope of chlorinated solvents (common practice, no source)"
    fit = pure.density
    source = f"{fit.source} ({fit.status})"
    if math.isnan(start) or abs(wanted - start) < 1e-6:
        return fit.slope, fit.u_slope, source
    return (float(fit.at(wanted)) - float(fit.at(start))) / (wanted - start), fit.u_slope, source


def move(found: Densities, wanted: float, to: str, slope: float, u_slope: float, source: str) -> Moved:
    """Bring the density from its own temperature to ``wanted`` [K]."""
    value, u = combined(found.measured)
    start = float(found.temperature[0])
    if abs(wanted - start) < 1e-6:
        return Moved(value, u, ())
    moved, added = density_at(value, start, wanted, slope, u_slope)
    own = from_si(start, "temperature", "°C")
    step = Correction(f"from {own:.4g} °C to {to}", float(moved) - value, float(added), "kg/m3", source)
    return Moved(float(moved), math.hypot(u, float(added)), (step,))


def comparison(pure: Substance | None, temperature: float, value: float, u: float) -> tuple[Rows, tuple[str, ...]]:
    """Density of the pure substance there, and a sentence when the reading cannot be it."""
    if pure is None:
        return (), ()
    expected, u_expected = float(pure.density.at(temperature)), float(pure.density.u_at(temperature))
    rows = ((f"pure {pure.name} there", format_with_half_width(expected, u_expected, "density", "g/mL")),)
    difference, room = value - expected, COVERAGE_95 * math.hypot(u, u_expected)
    if abs(difference) <= room:
        return rows, ()
    side = "above" if difference > 0 else "below"
    told = f"The density is {abs(difference) / 1e3:.4f} g/mL {side} pure {pure.name}"
    return rows, (f"{told}, more than the ± {room / 1e3:.4f} of both: it is not pure, or a reading is off.",)


def method_warning(density: Quantity | None, method: str | None) -> tuple[str, ...]:
    """Say that an uncertainty was taken because none was written."""
    if density is None or density.u is not None:
        return ()
    if method is None:
        return ("Neither ± nor --method was given: a poor way of measuring is assumed. Say which, to do better.",)
    return (f"No ± was written: that of {method_named(method).words} is taken ({method_named(method).source}).",)


def volume_row(vessel: Vessel | None) -> Rows:
    """Volume that the water gives, worth keeping for the next weighing."""
    if vessel is None:
        return ()
    net = vessel.water_mass - vessel.empty_mass
    volume = float(vessel_volume(net, vessel.water_temperature, air_density(ROOM, STANDARD_PRESSURE), wanted=ROOM))
    u = (vessel.balance_u or 0.0) * math.sqrt(2.0) / net * volume
    return (("volume of the vessel at 20 °C", format_with_half_width(volume, u, "volume", "mL")),)
