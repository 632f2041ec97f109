"""Densities of a run: raw readings of whatever kind to kg/m3 at a stated temperature, with their error terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.readings import vessel
from fractionkit.readings.atmosphere import STANDARD_PRESSURE
from fractionkit.readings.checks import ZERO_CELSIUS, check_uncertainty
from fractionkit.readings.density_inputs import DensityReadings, Vessel, check_readings, check_values
from fractionkit.readings.methods import Method, method_named, resolution_warning
from fractionkit.readings.terms import Correction, Measured
from fractionkit.readings.water import TANAKA_SOURCE, WATER_DENSITY_U
from fractionkit.readings.weighing import ROOM, Weighing

Array = NDArray[np.float64]

DENSITY, DENSITY_TEMPERATURE = "density", "density temperature"
# Chlorinated solvents lose 1.1 (chlorobenzene) to 1.95 (carbon tetrachloride) kg/m3 per K; used only where the caller
# has no slope of its own (common practice, no source).
TYPICAL_SLOPE = -1.7
BASIS_SLACK = 0.3  # K between a specific gravity's own temperature and the one written beside it


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
    check_readings(readings, weighed, file, rows)
    warnings: list[str] = []
    steps: list[Correction] = []
    typed, temperature = _typed(readings, method, calibration_temperature, steps, warnings)
    found = _with_errors(typed, readings, used, weighed, pressure, steps)
    check_values(found.value, readings, file, rows)
    taken = np.isfinite(found.value)
    u_warm = used.thermometer[0] if thermometer_bias is None else thermometer_bias
    u_flutter = used.thermometer[1] if thermometer_repeat is None else thermometer_repeat
    slopes = np.broadcast_to(np.asarray(slope, dtype=float), typed.shape)
    own = found.bias if bias is None else np.where(taken, bias, np.nan)
    warmth = np.where(taken, (found.per_kelvin - slopes) * u_warm, np.nan)
    fresh = np.hypot(found.repeat if repeat is None else np.where(taken, repeat, np.nan), slopes * u_flutter)
    if span is not None and wanted is not None and taken.any():
        total = float(np.nanmax(np.sqrt(fresh**2 + own**2 + warmth**2)))
        warning = resolution_warning(used.words, total, span, wanted)
        warnings.extend([] if warning is None else [warning])
    shared = {DENSITY: own, DENSITY_TEMPERATURE: warmth}
    return Densities(Measured(found.value, fresh, shared, tuple(steps), tuple(warnings)), temperature)


@dataclass(frozen=True)
class _Found:
    """Densities (K,) in kg/m3 with what the method or the weighings leave of errors; per_kelvin as in `Weighing`."""

    value: Array
    bias: Array
    repeat: Array
    per_kelvin: Array


def _with_errors(
    typed: Array,
    readings: DensityReadings,
    used: Method,
    weighed: Vessel | None,
    pressure: float,
    steps: list[Correction],
) -> _Found:
    """Typed values with the method's uncertainties, weighed ones with their propagated ones."""
    by_method = _Found(typed, used.bias_of(typed), used.repeat_of(typed), np.zeros(typed.shape))
    full = ~np.isnan(readings.filled_mass)
    if weighed is None or not full.any():
        return by_method
    by_weight = Weighing.of(readings, weighed, used, pressure)
    steps.extend(by_weight.corrections(full))
    return _Found(
        np.where(full, by_weight.value, by_method.value),
        np.where(full, by_weight.bias, by_method.bias),
        np.where(full, by_weight.repeat, by_method.repeat),
        np.where(full, by_weight.per_kelvin, 0.0),
    )


def _typed(
    readings: DensityReadings,
    method: str | None,
    calibration: float | None,
    steps: list[Correction],
    warnings: list[str],
) -> tuple[Array, Array]:
    """Values that were typed, as kg/m3 (K,), and the temperature (K,) at which each holds."""
    value, temperature = readings.value.copy(), readings.temperature.copy()
    gravity = readings.is_gravity & ~np.isnan(value)
    own = np.where(gravity, readings.basis[:, 0] + ZERO_CELSIUS, np.nan)
    if gravity.any():
        value[gravity] = vessel.density_from_gravity(value[gravity], readings.basis[gravity, 1])
        change = float(np.mean((value - 1000.0 * readings.value)[gravity]))
        what = "specific gravity times the density of water at its basis, against reading it as g/mL"
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
