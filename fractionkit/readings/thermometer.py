"""The thermometer: constant offset, ice and steam point, emergent stem; what is left of its errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, check_uncertainty, demand, faults_outside
from fractionkit.readings.terms import Correction, Measured
from fractionkit.readings.water import IF97_SOURCE, steam_slope, steam_temperature

Array = NDArray[np.float64]

# Names of the errors that repeat, keys of `Measured.shared`.
THERMOMETER, ICE_POINT, STEAM_POINT, STEM = (
    "thermometer",
    "thermometer ice point",
    "thermometer steam point",
    "thermometer stem",
)
PRESSURE = "pressure"

# Standard uncertainties in K (bias, repeatability) when none is given. The bias is one division of a common laboratory
# thermometer, as makers tolerate, taken as rectangular; a fresh reading is good to a fifth of a division (common
# practice, no source). None: the kind was not said.
DEFAULT_U: Mapping[str | None, tuple[float, float]] = {
    "mercury": (0.6, 0.2),
    "spirit": (1.0, 0.4),
    "digital": (0.6, 0.1),
    None: (0.6, 0.25),
}
FIXED_POINT_U = 0.15  # K, one reading in ice or steam on a division of 1 K (common practice, no source)
BORE_U = 0.1  # K, bore and divisions between two fixed points (common practice, no source)

# Apparent expansion of the liquid in glass, per K, relative uncertainty of it, and uncertainty of the stem's mean
# temperature, K, which a second thermometer tied to the stem shows only roughly (common practice, no source).
STEM_EXPANSION: Mapping[str, float] = {"mercury": 0.00016, "alcohol": 0.001}
STEM_EXPANSION_U: Mapping[str, float] = {"mercury": 0.03, "alcohol": 0.10}
STEM_TEMPERATURE_U = 5.0
STEM_SOURCE = (
    "ASTM E 77 and common practice: k n (T - t), k = 0.00016 /K mercury, 0.001 /K organic liquids (from memory)"
)

READING_LOW, READING_HIGH = ZERO_CELSIUS - 100.0, ZERO_CELSIUS + 400.0


@dataclass(frozen=True)
class Stem:
    """Emergent stem: ``exposed`` degrees (K) of the column outside at mean ``temperature`` (K); "mercury" or "alcohol".

    "alcohol" stands for every organic liquid: spirit, toluene, pentane.
    """

    exposed: float
    temperature: float
    liquid: str = "mercury"


def stem_correction(bulb: ArrayLike, exposed: ArrayLike, stem: ArrayLike, expansion: float) -> Array:
    """What a thermometer made for total immersion reads too low, k n (T - t), K.

    bulb : (...) K, temperature T of the bulb; exposed : n, K; stem : t, K; expansion : k, 1/K; they broadcast.
    Source: `STEM_SOURCE`. Some books put the reading for T: right to k n of the correction itself.
    """
    difference = np.asarray(bulb, dtype=float) - np.asarray(stem, dtype=float)
    return np.asarray(expansion * np.asarray(exposed, dtype=float) * difference)


def bulb_temperature(reading: ArrayLike, exposed: ArrayLike, stem: ArrayLike, expansion: float) -> Array:
    """Temperature T of the bulb from the reading R: T = R + k n (T - t), solved for T. Units as `stem_correction`."""
    fraction = expansion * np.asarray(exposed, dtype=float)
    return np.asarray((np.asarray(reading, dtype=float) - fraction * np.asarray(stem, dtype=float)) / (1.0 - fraction))


def two_point(reading: ArrayLike, ice: float, steam: float, pressure: float) -> Array:
    """Reading on a scale stretched so that ``ice`` is 273.15 K and ``steam`` the temperature of steam at ``pressure``.

    reading : (...) K; ice, steam : K, what was shown; pressure : Pa. Returns (...) K.
    """
    share = (np.asarray(reading, dtype=float) - ice) / (steam - ice)
    return np.asarray(ZERO_CELSIUS + share * (float(steam_temperature(pressure)) - ZERO_CELSIUS))


def correct_temperatures(
    reading: ArrayLike,
    *,
    bias: float | None = None,
    repeat: float | None = None,
    kind: str | None = None,
    correction: float = 0.0,
    ice_point: float | None = None,
    ice_point_u: float | None = None,
    steam_point: float | None = None,
    steam_point_u: float | None = None,
    pressure: float | None = None,
    pressure_u: float = 0.0,
    stem: Stem | None = None,
    place: Place | None = None,
) -> Measured:
    """Corrected temperatures of a run: offset or fixed points first, then the stem.

    reading : (K,) K as shown, NaN where not taken.
    bias, repeat : standard uncertainties in K, defaults `DEFAULT_U` by ``kind`` ("mercury", "spirit", "digital"). With
        two fixed points the bias is what the bore leaves between them (`BORE_U`), unless given; with one it is the
        given bias or the default, halved, for the scale away from that point.
    correction : K added to every reading. ice_point, steam_point : K, what was shown in melting ice and in steam at
        ``pressure`` (Pa, the station's, with ``pressure_u``); their u default to `FIXED_POINT_U`.
    stem : the part of the column outside; the thermometer must be one made for total immersion.
    Returns `Measured` with errors `THERMOMETER`, `ICE_POINT`, `STEAM_POINT`, `STEM`; and `PRESSURE` for the steam
        point: one standard deviation of it is the true pressure ``pressure_u`` above ``pressure``.
    Raises `InputError` for a correction beside fixed points, or a steam point without pressure; `OutOfRangeError` for
        readings outside -100 to 400 °C, fixed points more than 10 K off, a stem that is no stem.
    """
    values = np.atleast_1d(np.asarray(reading, dtype=float))
    for name, u in (("thermometer.bias", bias), ("thermometer.repeat", repeat), ("pressure", pressure_u)):
        check_uncertainty(u, name)
    check_uncertainty(ice_point_u, "thermometer.ice_point")
    check_uncertainty(steam_point_u, "thermometer.steam_point")
    where = place or Place("temperature")
    demand(faults_outside(values, READING_LOW, READING_HIGH, where, "a temperature from -100 to 400 °C", celsius))
    base_bias, base_repeat = _defaults(kind)
    work = _Work(values, {}, [], [])
    points = (ice_point is not None) + (steam_point is not None)
    if points and correction != 0.0:
        expected = "either a correction or readings at the ice and steam point, not both"
        raise InputError(Fault(None, expected, column="thermometer.correction"))
    if correction != 0.0:
        work.move(values + correction, "thermometer's constant correction", 0.0, "as entered")
    if points:
        _fixed_points(work, ice_point, ice_point_u, steam_point, steam_point_u, pressure, pressure_u)
    remaining = {0: base_bias, 1: 0.5 * base_bias, 2: BORE_U}[points] if bias is None else bias
    work.shared[THERMOMETER] = np.full(values.shape, remaining)
    if stem is not None:
        if points:
            work.warnings.append(
                "Fixed points and a stem correction were both given: that is right only if the thermometer stood in "
                "ice and steam with its whole column; with the stem out as in the still, leave the stem correction out."
            )
        _stem(work, stem)
    fresh = np.full(values.shape, base_repeat if repeat is None else repeat)
    return Measured(work.value, fresh, work.shared, tuple(work.corrections), tuple(work.warnings))


@dataclass
class _Work:
    """Readings on their way."""

    value: Array
    shared: dict[str, Array]
    corrections: list[Correction]
    warnings: list[str]

    def move(self, value: Array, what: str, u: float, source: str) -> None:
        self.corrections.append(Correction(what, _mean(value - self.value), u, "K", source))
        self.value = value


def _mean(values: Array) -> float:
    """Mean over the readings taken, 0 where none was."""
    taken = np.isfinite(values)
    return float(np.mean(values[taken])) if taken.any() else 0.0


def _defaults(kind: str | None) -> tuple[float, float]:
    if kind not in DEFAULT_U:
        known = ", ".join(sorted(name for name in DEFAULT_U if name))
        raise InputError(Fault(kind, f"a kind of thermometer: {known}", column="thermometer.kind"))
    return DEFAULT_U[kind]


def _fixed_points(
    work: _Work,
    ice: float | None,
    ice_u: float | None,
    steam: float | None,
    steam_u: float | None,
    pressure: float | None,
    pressure_u: float,
) -> None:
    """Stretch or shift the scale to the fixed points, and note their errors."""
    u_ice = FIXED_POINT_U if ice_u is None else ice_u
    u_steam = FIXED_POINT_U if steam_u is None else steam_u
    true_steam, per_pascal = np.nan, 0.0
    if steam is not None:
        if pressure is None:
            raise InputError(
                Fault(None, "the pressure of the day, for the steam point", column="thermometer.steam_point")
            )
        true_steam, per_pascal = float(steam_temperature(pressure)), float(steam_slope(pressure))
    _check_point(ice, ZERO_CELSIUS, "thermometer.ice_point", "melting ice, near 0 °C")
    _check_point(steam, true_steam, "thermometer.steam_point", f"steam, near {true_steam - ZERO_CELSIUS:.1f} °C")
    ones = np.ones(work.value.shape)
    if ice is not None and steam is not None and pressure is not None:
        share = (work.value - ice) / (steam - ice)
        value = two_point(work.value, ice, steam, pressure)
        work.shared[ICE_POINT], work.shared[STEAM_POINT] = u_ice * (1.0 - share), u_steam * share
        work.shared[PRESSURE] = -share * per_pascal * pressure_u
        added = _mean(np.hypot(u_ice * (1.0 - share), u_steam * share))
        work.move(value, f"scale set to ice and to steam at {celsius(true_steam)}", added, IF97_SOURCE)
    elif ice is not None:
        work.shared[ICE_POINT] = u_ice * ones
        work.move(work.value + (ZERO_CELSIUS - ice), "scale shifted to the ice point", u_ice, "ice point 0 °C")
    elif steam is not None:
        work.shared[STEAM_POINT] = u_steam * ones
        work.shared[PRESSURE] = -per_pascal * pressure_u * ones
        what = f"scale shifted to steam at {celsius(true_steam)}"
        work.move(work.value + (true_steam - steam), what, u_steam, IF97_SOURCE)


def _check_point(shown: float | None, true: float, name: str, expected: str) -> None:
    if shown is not None:
        demand(
            faults_outside(
                shown, true - 10.0, true + 10.0, Place(name), f"a reading in {expected}", celsius, needed=True
            )
        )


def _stem(work: _Work, stem: Stem) -> None:
    """Add the stem correction with its error."""
    if stem.liquid not in STEM_EXPANSION:
        expected = "one of " + ", ".join(STEM_EXPANSION)
        raise InputError(Fault(stem.liquid, expected, column="thermometer.stem.liquid"))
    place, air = Place("thermometer.stem.exposed"), Place("thermometer.stem.temperature")
    demand(
        faults_outside(stem.exposed, 0.0, 400.0, place, "0 to 400 degrees of column outside", needed=True)
        + faults_outside(
            stem.temperature, 223.15, 573.15, air, "a mean temperature of the stem, -50 to 300 °C", celsius
        )
    )
    expansion = STEM_EXPANSION[stem.liquid]
    value = bulb_temperature(work.value, stem.exposed, stem.temperature, expansion)
    change = stem_correction(value, stem.exposed, stem.temperature, expansion)
    error = np.hypot(expansion * stem.exposed * STEM_TEMPERATURE_U, STEM_EXPANSION_U[stem.liquid] * change)
    work.shared = {name: sensitivity / (1.0 - expansion * stem.exposed) for name, sensitivity in work.shared.items()}
    work.shared[STEM] = error
    work.move(value, f"emergent stem, {stem.exposed:g} K of {stem.liquid} column", _mean(error), STEM_SOURCE)
