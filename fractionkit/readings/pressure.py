"""The pressure at the still: from a barometer on the bench, or from a sea-level pressure and the altitude."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.readings import atmosphere
from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, check_uncertainty, demand, faults_outside, plain
from fractionkit.readings.terms import Correction

Array = NDArray[np.float64]

# Common practice, no source: an aneroid or a telephone's barometer, not compared lately, is within 0.6 kPa.
STATION_U = 300.0
SEA_LEVEL_U = 100.0  # a weather report is rounded to 1 hPa and is some kilometres and hours away
ALTITUDE_U = 10.0  # from a map, m
MERCURY_EXPANSION = 0.0001818  # per K, volume
BRASS_EXPANSION = 0.0000184  # per K, length of the scale
MERCURY_SOURCE = "Smithsonian Meteorological Tables, 6th ed., reduction of the mercury barometer to 0 °C (from memory)"


@dataclass(frozen=True)
class Pressure:
    """Pressure at the still: ``value`` and standard uncertainty ``u`` in Pa, the steps taken, and warnings."""

    value: float
    u: float
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()


def correct_pressure(
    *,
    station: float | None = None,
    station_u: float | None = None,
    sea_level: float | None = None,
    sea_level_u: float | None = None,
    altitude: float | None = None,
    altitude_u: float | None = None,
) -> Pressure:
    """Station pressure from what was written down; it is never guessed.

    station, station_u : Pa, pressure read at the bench and its standard uncertainty (default `STATION_U`).
    sea_level, sea_level_u : Pa, pressure reduced to sea level (default u `SEA_LEVEL_U`); needs ``altitude``.
    altitude, altitude_u : m, of the bench (default u `ALTITUDE_U`). With ``station`` it serves only to notice a
        sea-level value.

    Raises `InputError` when neither or both of ``station`` and ``sea_level`` are given, or a sea-level pressure
    without altitude; `OutOfRangeError` for a pressure outside 20-200 kPa (86-110 at sea level), an altitude outside
    -500 to 5000 m, a negative uncertainty.
    """
    for name, u in (("station", station_u), ("sea_level", sea_level_u), ("altitude", altitude_u)):
        check_uncertainty(u, name)
    if altitude is not None and np.isnan(altitude):
        raise InputError(Fault("nan", "an altitude in m, or none", column="pressure.altitude"))
    if station is not None and sea_level is not None:
        raise InputError(
            Fault(None, "either the station pressure or the sea-level pressure, not both", column="pressure")
        )
    if station is not None:
        return _from_station(station, STATION_U if station_u is None else station_u, altitude)
    if sea_level is None:
        raise InputError(
            Fault(None, "the station pressure, or the sea-level pressure with the altitude", column="pressure")
        )
    if altitude is None:
        expected = "the altitude of the bench beside a sea-level pressure"
        raise InputError(Fault(None, expected, column="pressure.altitude"))
    return _from_sea_level(
        sea_level,
        SEA_LEVEL_U if sea_level_u is None else sea_level_u,
        altitude,
        ALTITUDE_U if altitude_u is None else altitude_u,
    )


def _from_station(station: float, u: float, altitude: float | None) -> Pressure:
    low, high = atmosphere.PRESSURE_LOW, atmosphere.PRESSURE_HIGH
    place = Place("pressure.station")
    demand(faults_outside(station, low, high, place, "a station pressure from 20 to 200 kPa", _kilopascal, needed=True))
    warnings: list[str] = []
    if altitude is not None:
        expected = float(atmosphere.pressure_at_altitude(altitude))
        if atmosphere.looks_like_sea_level(station, altitude, u):
            warnings.append(
                f"The station pressure {_kilopascal(station)} looks like a sea-level value: at {altitude:.0f} m the "
                f"standard atmosphere gives {_kilopascal(expected)}. If it came from a weather report, enter it as the "
                "sea-level pressure."
            )
        elif abs(station - expected) > 4.0 * np.hypot(atmosphere.WEATHER_U, u):
            warnings.append(
                f"The station pressure {_kilopascal(station)} is far from the {_kilopascal(expected)} that the "
                f"standard atmosphere gives at {altitude:.0f} m: check the barometer and the altitude."
            )
    return Pressure(station, u, (), tuple(warnings))


def _from_sea_level(sea_level: float, u: float, altitude: float, altitude_u: float) -> Pressure:
    place = Place("pressure.sea_level")
    # 87.0 and 108.5 kPa are the extremes ever reported at sea level (from memory); a little room beyond.
    demand(
        faults_outside(
            sea_level, 86e3, 110e3, place, "a sea-level pressure from 86 to 110 kPa", _kilopascal, needed=True
        )
    )
    value = float(atmosphere.station_from_sea_level(sea_level, altitude))
    step = 10.0
    slope = float(atmosphere.station_from_sea_level(sea_level + step, altitude) - value) / step
    from_altitude = float(atmosphere.pressure_gradient(value, altitude)) * altitude_u
    column = float(atmosphere.reduction_uncertainty(value, altitude))
    total = float(np.sqrt((slope * u) ** 2 + from_altitude**2 + column**2))
    step_taken = Correction(
        f"sea-level pressure brought to the bench at {altitude:.0f} m",
        value - sea_level,
        float(np.hypot(from_altitude, column)),
        "Pa",
        atmosphere.STANDARD_SOURCE + "; uncertainty for an air column 10 K off the standard (common practice)",
    )
    return Pressure(value, total, (step_taken,))


def _kilopascal(pascal: float) -> str:
    return f"{pascal / 1000.0:.2f} kPa"


def mercury_barometer(reading: ArrayLike, temperature: ArrayLike) -> Array:
    """Height of a mercury column on a brass scale reduced to 0 °C: B (1 + l t) / (1 + m t).

    reading : (...) in any unit of pressure or length; temperature : (...) K of the barometer, -20 to 50 °C; they
    broadcast. Returns the same unit. Raises `OutOfRangeError`. Source: `MERCURY_SOURCE`, m = 0.0001818 /K the volume
    expansion of mercury, l = 0.0000184 /K the linear expansion of brass, scale true at 0 °C. Gravity is not
    corrected: up to 0.27 % at a pole or the equator.
    """
    kelvin = np.asarray(temperature, dtype=float)
    place = Place("barometer temperature")
    demand(faults_outside(kelvin, 253.15, 323.15, place, "a temperature of the barometer from -20 to 50 °C", celsius))
    height = np.asarray(reading, dtype=float)
    demand(faults_outside(height, 0.0, np.inf, Place("barometer"), "a reading of zero or more", plain))
    t = kelvin - ZERO_CELSIUS
    return np.asarray(height * (1.0 + BRASS_EXPANSION * t) / (1.0 + MERCURY_EXPANSION * t))
