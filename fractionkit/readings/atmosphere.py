"""The air: standard atmosphere up to 11 km, what weather does to it, and the density of moist air."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.readings.checks import ZERO_CELSIUS, Place, celsius, demand, faults_outside, plain

Array = NDArray[np.float64]

STANDARD_SOURCE = "US Standard Atmosphere 1976 (NOAA-S/T 76-1562), troposphere"
AIR_SOURCE = "CIPM-2007 in its simplified exponential form, OIML R 111-1 (2004) eq. E.3-1 (from memory)"

STANDARD_PRESSURE = 101325.0
_T0, _LAPSE, _G, _MOLAR_MASS = 288.15, 0.0065, 9.80665, 0.0289644
_R = 8.31432  # J/mol/K, the value that the 1976 standard itself defines
_EXPONENT = _G * _MOLAR_MASS / (_R * _LAPSE)
ALTITUDE_LOW, ALTITUDE_HIGH = -500.0, 5000.0
PRESSURE_LOW, PRESSURE_HIGH = 20e3, 200e3

# Day-to-day standard deviation of station pressure about the standard atmosphere: 0.5-1.2 kPa in mid latitudes, less in
# the tropics (common practice, no source).
WEATHER_U = 1000.0
# The air between sea level and the bench differs from the standard by about this, K (common practice, no source).
COLUMN_TEMPERATURE_U = 10.0
AIR_DENSITY_RELATIVE_U = 2e-4  # of the simplified formula, OIML R 111-1, from memory


def _altitude(altitude: ArrayLike) -> Array:
    values = np.asarray(altitude, dtype=float)
    expected = f"an altitude from {ALTITUDE_LOW:g} to {ALTITUDE_HIGH:g} m"
    demand(faults_outside(values, ALTITUDE_LOW, ALTITUDE_HIGH, Place("altitude"), expected, plain))
    return values


def _pressure(pressure: ArrayLike, name: str) -> Array:
    values = np.asarray(pressure, dtype=float)
    expected = "a pressure from 20 to 200 kPa, in Pa"
    demand(faults_outside(values, PRESSURE_LOW, PRESSURE_HIGH, Place(name), expected, plain))
    return values


def pressure_at_altitude(altitude: ArrayLike) -> Array:
    """Pressure of the standard atmosphere, p = p0 (1 - L h / T0)^(g M / R L).

    altitude : (...) m (geopotential; the difference from geometric is below 4 m up to 5 km), from -500 to 5000.
    Returns (...) Pa. Raises `OutOfRangeError`. Source: `STANDARD_SOURCE`, eq. 33a.
    """
    return np.asarray(STANDARD_PRESSURE * (1.0 - _LAPSE * _altitude(altitude) / _T0) ** _EXPONENT)


def altitude_of_pressure(pressure: ArrayLike) -> Array:
    """Altitude at which the standard atmosphere has this pressure: the inverse of `pressure_at_altitude`.

    pressure : (...) Pa, 20-200 kPa. Returns (...) m. Raises `OutOfRangeError`.
    """
    ratio = _pressure(pressure, "pressure") / STANDARD_PRESSURE
    return np.asarray(_T0 / _LAPSE * (1.0 - ratio ** (1.0 / _EXPONENT)))


def station_from_sea_level(sea_level: ArrayLike, altitude: ArrayLike) -> Array:
    """Station pressure behind a pressure that was reduced to sea level by the standard atmosphere.

    A weather service or an altimeter setting (QNH) reduces the pressure of a station to sea level by adding the column
    of standard air below it: the altitude in the standard atmosphere at which the station's pressure stands, less the
    altitude of the station, is where the reduced pressure would stand. This is that rule turned round. A weather map
    (QFF) uses the day's temperature instead; `reduction_uncertainty` carries the difference.

    sea_level : (...) Pa; altitude : (...) m; they broadcast. Returns (...) Pa. Raises `OutOfRangeError`.
    """
    raised = altitude_of_pressure(_pressure(sea_level, "sea-level pressure")) + _altitude(altitude)
    return np.asarray(STANDARD_PRESSURE * (1.0 - _LAPSE * raised / _T0) ** _EXPONENT)


def sea_level_from_station(station: ArrayLike, altitude: ArrayLike) -> Array:
    """Station pressure reduced to sea level by the standard atmosphere: the inverse of `station_from_sea_level`."""
    lowered = altitude_of_pressure(_pressure(station, "station pressure")) - _altitude(altitude)
    return np.asarray(STANDARD_PRESSURE * (1.0 - _LAPSE * lowered / _T0) ** _EXPONENT)


def pressure_gradient(pressure: ArrayLike, altitude: ArrayLike) -> Array:
    """Fall of pressure with height, dp/dh = -g M p / (R T), Pa/m, with the standard temperature at ``altitude``."""
    temperature = _T0 - _LAPSE * _altitude(altitude)
    return np.asarray(-_G * _MOLAR_MASS * _pressure(pressure, "pressure") / (_R * temperature))


def reduction_uncertainty(station: ArrayLike, altitude: ArrayLike, column_u: float = COLUMN_TEMPERATURE_U) -> Array:
    """Standard uncertainty of a station pressure from the temperature of the air column, Pa.

    From p = p_sea exp(-g M h / (R T)): u(p) = p (g M |h| / (R T)) u(T) / T with u(T) = ``column_u``.
    """
    mean = _T0 - 0.5 * _LAPSE * _altitude(altitude)
    decades = _G * _MOLAR_MASS * np.abs(_altitude(altitude)) / (_R * mean)
    return np.asarray(_pressure(station, "pressure") * decades * column_u / mean)


def looks_like_sea_level(station: float, altitude: float, u: float = 0.0, weather_u: float = WEATHER_U) -> bool:
    """Whether a "station" pressure is what weather allows at sea level but not at this altitude.

    station, u : Pa; altitude : m. True when the value lies within 3 standard deviations (weather and the reading
    together) of the standard pressure at sea level, and more than 3 away from it at ``altitude``. At less than some
    400 m the two cannot be told apart and the answer is False.
    """
    spread = 3.0 * float(np.hypot(weather_u, u))
    at_altitude = float(pressure_at_altitude(altitude))
    return bool(abs(station - STANDARD_PRESSURE) <= spread < abs(station - at_altitude))


def air_density(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.5) -> Array:
    """Density of moist air, kg/m3: (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t), p in hPa, h in %, t in °C.

    temperature : (...) K, 0-50 °C; pressure : (...) Pa, 20-200 kPa; humidity : (...) relative, 0-1; they broadcast.
    Raises `OutOfRangeError`. Source: `AIR_SOURCE`, stated for 600-1100 hPa, 20-80 % and 15-27 °C to 2e-4; beyond
    that it is good to some 1e-3, far more than a buoyancy correction on a liquid needs.
    """
    kelvin = np.asarray(temperature, dtype=float)
    wet = np.asarray(humidity, dtype=float)
    low, high = ZERO_CELSIUS - 0.01, ZERO_CELSIUS + 50.01
    demand(
        faults_outside(kelvin, low, high, Place("air temperature"), "an air temperature from 0 to 50 °C", celsius)
        + faults_outside(wet, 0.0, 1.0, Place("humidity"), "a relative humidity from 0 to 1", plain)
    )
    dry = 0.34848 * _pressure(pressure, "air pressure") / 100.0
    return np.asarray((dry - 0.9 * wet * np.exp(0.061 * (kelvin - ZERO_CELSIUS))) / kelvin)
