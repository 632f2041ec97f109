"""Densities of a run: raw readings of whatever kind to kg/m3 at a stated temperature, with their error terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, OutOfRangeError
from fractionkit.readings import vessel
from fractionkit.readings.atmosphere import AIR_SOURCE, STANDARD_PRESSURE, air_density
from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, check_uncertainty, demand, faults_outside
from fractionkit.readings.methods import Method, balance_resolution, method_named, resolution_warning
from fractionkit.readings.terms import Correction, Measured
from fractionkit.readings.water import TANAKA_SOURCE, WATER_DENSITY_U, water_density, water_density_slope

Array = NDArray[np.float64]

DENSITY, DENSITY_TEMPERATURE = "density", "density temperature"
# Chlorinated solvents lose 1.1 (chlorobenzene) to 1.95 (carbon tetrachloride) kg/m3 per K; used only where the caller
# has no slope of its own (common practice, no source).
TYPICAL_SLOPE = -1.7
ROOM = ZERO_CELSIUS + 20.0
AIR_U = 0.02  # kg/m3: room 15-25 °C, any humidity, weather (common practice, no source)
DENSITY_LOW, DENSITY_HIGH = 500.0, 3500.0
TEMPERATURE_LOW, TEMPERATURE_HIGH = ZERO_CELSIUS - 20.0, ZERO_CELSIUS + 120.0
BASIS_SLACK = 0.3  # K between a specific gravity's own temperature and the one written beside it


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


@dataclass(frozen=True)
class Densities:
    """Corrected densities and the temperature (K,) in K at which each holds."""

    measured: Measured
    temperature: Array


def correct_densities(
    readings: DensityReadings,
    *,
    method: str | None = None,
    bias: float | None = None,
    repeat: float | None = None,
    weighed: Vessel | None = None,
    calibration_temperature: float | None = None,
    thermometer_bias: float | None = None,
    thermometer_repeat: float | None = None,
    slope: ArrayLike = TYPICAL_SLOPE,
    pressure: float = STANDARD_PRESSURE,
    span: float | None = None,
    wanted: float | None = None,
    file: str | None = None,
    rows: Sequence[int] | None = None,
) -> Densities:
    """Densities in kg/m3 with their errors; each entry at the temperature returned beside it.

    method : "meter", "pycnometer", "flask", "hydrometer", "syringe" or None; it gives the uncertainties that are not
        given (`methods.METHODS`). bias, repeat : standard uncertainties, kg/m3.
    weighed : the vessel, for entries that have a filled mass; its uncertainty is propagated from the weighings.
    calibration_temperature : K at which the scale of a hydrometer (20 °C when None; the basis' own temperature for a
        specific gravity) or the mark of a flask (no correction when None) holds.
    thermometer_bias, thermometer_repeat : K, of the temperature written beside the density.
    slope : (K,) or one, drho/dT of the liquid, kg/m3/K. pressure : Pa at the balance.
    span, wanted : kg/m3 between the substances and the mass fraction to be told apart, for a warning; None: no warning.
    file, rows : where the entries stand, for messages.
    Returns `Densities`; errors `DENSITY` and `DENSITY_TEMPERATURE`. The latter's sign: where the thermometer shows one
        standard deviation u too much, a reading is ``-slope u`` above what belongs to the temperature shown.
    Raises `OutOfRangeError` with every fault: no temperature, no vessel, masses in the wrong order, a value that no
        liquid has.
    """
    used = method_named(method)
    for name, u in (("bias", bias), ("repeat", repeat), ("thermometer_bias", thermometer_bias)):
        check_uncertainty(u, f"density.{name}")
    check_uncertainty(thermometer_repeat, "density.thermometer_repeat")
    slopes = np.broadcast_to(np.asarray(slope, dtype=float), readings.value.shape)
    _check(readings, weighed, file, rows)
    warnings: list[str] = []
    steps: list[Correction] = []
    typed, temperature = _typed(readings, method, calibration_temperature, steps, warnings)
    value, u_bias, u_repeat = typed, used.bias_of(typed), used.repeat_of(typed)
    u_warm = used.thermometer[0] if thermometer_bias is None else thermometer_bias
    u_flutter = used.thermometer[1] if thermometer_repeat is None else thermometer_repeat
    sensitivity = -slopes
    if weighed is not None:
        by_weight = _Weighing.of(readings, weighed, used, pressure)
        full = np.isfinite(readings.filled_mass)
        value = np.where(full, by_weight.value, value)
        u_bias, u_repeat = np.where(full, by_weight.bias, u_bias), np.where(full, by_weight.repeat, u_repeat)
        sensitivity = np.where(full, sensitivity + by_weight.per_kelvin, sensitivity)
        if full.any():
            steps.extend(by_weight.corrections(full))
    _check_values(value, readings, file, rows)
    u_bias = u_bias if bias is None else np.where(np.isfinite(value), bias, np.nan)
    u_repeat = u_repeat if repeat is None else np.where(np.isfinite(value), repeat, np.nan)
    shared = {DENSITY: u_bias, DENSITY_TEMPERATURE: sensitivity * u_warm}
    fresh = np.hypot(u_repeat, slopes * u_flutter)
    if span is not None and wanted is not None and np.isfinite(value).any():
        total = float(np.nanmax(np.sqrt(fresh**2 + u_bias**2 + (sensitivity * u_warm) ** 2)))
        warning = resolution_warning(used.words, total, span, wanted)
        warnings.extend([] if warning is None else [warning])
    return Densities(Measured(value, fresh, shared, tuple(steps), tuple(warnings)), temperature)


def _typed(
    readings: DensityReadings,
    method: str | None,
    calibration: float | None,
    steps: list[Correction],
    warnings: list[str],
) -> tuple[Array, Array]:
    """Values that were typed, as kg/m3 (K,), and the temperature (K,) at which each holds."""
    value, temperature = readings.value.copy(), readings.temperature.copy()
    gravity = readings.is_gravity & np.isfinite(value)
    own = np.where(gravity, readings.basis[:, 0] + ZERO_CELSIUS, np.nan)
    if gravity.any():
        value[gravity] = vessel.density_from_gravity(value[gravity], readings.basis[gravity, 1])
        change = float(np.mean(value[gravity]))
        what = "specific gravity times the density of water at its basis (mean of the results)"
        steps.append(Correction(what, change, 1.5 * WATER_DENSITY_U, "kg/m3", TANAKA_SOURCE))
    if method == "hydrometer":
        temperature = np.where(np.isnan(temperature), own, temperature)
        assumed = ROOM if calibration is None else calibration
        scale = np.where(gravity, own, assumed)
        source = vessel.HYDROMETER_SOURCE + ("" if calibration is not None else "; scale taken to be true at 20 °C")
        return _glass(value, temperature, scale, vessel.HYDROMETER_GLASS, source, steps), temperature
    apart = gravity & (np.abs(temperature - own) > BASIS_SLACK)
    if apart.any():
        warnings.append(
            f"{int(apart.sum())} specific gravities carry a basis whose sample temperature differs from the density "
            "temperature beside it: the basis was believed. Write a density in g/mL if the sample had the other one."
        )
    temperature = np.where(gravity, own, temperature)
    if calibration is not None and method in ("flask", "pycnometer"):
        scale = np.where(gravity, np.nan, calibration)
        source = "volume expansion of borosilicate glass, 9.9e-6 /K (ISO 4787, from memory)"
        corrected = _glass(value, temperature, scale, vessel.BOROSILICATE, source, steps)
        value = np.where(np.isfinite(corrected), corrected, value)
    return value, temperature


def _glass(
    value: Array, temperature: Array, scale: Array, expansion: float, source: str, steps: list[Correction]
) -> Array:
    corrected = vessel.hydrometer_density(value, temperature, scale, expansion)
    change = (corrected - value)[np.isfinite(corrected)]
    if change.size:
        mean = float(np.mean(change))
        steps.append(
            Correction(
                "glass brought from its own temperature to the reading's", mean, 0.1 * abs(mean), "kg/m3", source
            )
        )
    return corrected


@dataclass(frozen=True)
class _Weighing:
    """Densities by weight (K,): value, bias, repeat in kg/m3; per_kelvin: change for 1 K too much at the water."""

    value: Array
    bias: Array
    repeat: Array
    per_kelvin: Array
    uncorrected: Array
    air: float

    @classmethod
    def of(cls, readings: DensityReadings, weighed: Vessel, used: Method, pressure: float) -> _Weighing:
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


def _check(readings: DensityReadings, weighed: Vessel | None, file: str | None, rows: Sequence[int] | None) -> None:
    """Refuse what cannot be, all faults at once."""
    column = Place("density", file, rows)
    warm, filled = replace(column, column="density_temp"), replace(column, column="filled_mass")
    by_weight, typed = np.isfinite(readings.filled_mass), np.isfinite(readings.value)
    gravity = typed & readings.is_gravity
    needs = by_weight | (typed & ~readings.is_gravity)
    expected = "a temperature of the sample from -20 to 120 °C"
    faults = faults_outside(readings.temperature, TEMPERATURE_LOW, TEMPERATURE_HIGH, warm, expected, celsius)
    lacking = {
        "the temperature of the sample beside its density": (warm, needs & np.isnan(readings.temperature)),
        "a basis beside a specific gravity, such as sg20/20": (column, gravity & np.isnan(readings.basis).any(axis=1)),
        "either a density or a filled mass, not both": (column, by_weight & typed),
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
    faults = faults_outside(weighed.water_temperature, low, high, place, expected, celsius)
    if not 0.0 < weighed.empty_mass < np.inf:
        sentence = "a mass of the empty vessel above zero"
        faults.append(Fault(f"{1000.0 * weighed.empty_mass:.6g} g", sentence, column="density.empty_mass"))
    if not weighed.empty_mass < weighed.water_mass < np.inf:
        sentence = f"a mass with water above the empty vessel's {1000.0 * weighed.empty_mass:.6g} g"
        faults.append(Fault(f"{1000.0 * weighed.water_mass:.6g} g", sentence, column="density.water_mass"))
    return faults


def _check_values(value: Array, readings: DensityReadings, file: str | None, rows: Sequence[int] | None) -> None:
    """Refuse corrected densities that no liquid of this trade has: a slip of the decimal point, a wrong vessel."""
    wrong = np.isfinite(value) & ~((value >= DENSITY_LOW) & (value <= DENSITY_HIGH))
    faults = []
    for index in np.flatnonzero(wrong)[:20]:
        column = "filled_mass" if np.isfinite(readings.filled_mass[index]) else "density"
        shown = f"{value[index] / 1000.0:.5g} g/mL"
        faults.append(Place(column, file, rows).of(int(index), shown, "a density of a liquid, 0.5 to 3.5 g/mL"))
    if faults:
        raise OutOfRangeError(faults)
