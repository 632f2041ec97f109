"""From what an instrument showed to a corrected value and its error terms: pure functions on SI floats and arrays."""

from fractionkit.readings.atmosphere import (
    air_density,
    altitude_of_pressure,
    looks_like_sea_level,
    pressure_at_altitude,
    sea_level_from_station,
    station_from_sea_level,
)
from fractionkit.readings.pressure import Pressure, correct_pressure, mercury_barometer
from fractionkit.readings.terms import Correction, Measured
from fractionkit.readings.water import steam_temperature, water_density, water_density_slope

__all__ = [
    "Correction",
    "Measured",
    "Pressure",
    "air_density",
    "altitude_of_pressure",
    "correct_pressure",
    "looks_like_sea_level",
    "mercury_barometer",
    "pressure_at_altitude",
    "sea_level_from_station",
    "station_from_sea_level",
    "steam_temperature",
    "water_density",
    "water_density_slope",
]
