"""From what an instrument showed to a corrected value and its error terms: pure functions on SI floats and arrays."""

from fractionkit.readings.atmosphere import (
    air_density,
    altitude_of_pressure,
    looks_like_sea_level,
    pressure_at_altitude,
    sea_level_from_station,
    station_from_sea_level,
)
from fractionkit.readings.bench_balance import weighing_u
from fractionkit.readings.checks import Place
from fractionkit.readings.density import Densities, correct_densities
from fractionkit.readings.density_inputs import DensityReadings, Vessel
from fractionkit.readings.methods import balance_resolution, method_named, resolves, smallest_fraction
from fractionkit.readings.pressure import Pressure, correct_pressure, mercury_barometer
from fractionkit.readings.refractometer import correct_indices, index_at
from fractionkit.readings.terms import Correction, Measured
from fractionkit.readings.thermometer import Stem, bulb_temperature, correct_temperatures, stem_correction, two_point
from fractionkit.readings.vessel import (
    density_at,
    density_from_gravity,
    hydrometer_density,
    true_mass,
    vessel_density,
    vessel_volume,
    volume_density,
)
from fractionkit.readings.water import steam_temperature, water_density, water_density_slope

__all__ = [
    "Correction",
    "Densities",
    "DensityReadings",
    "Measured",
    "Place",
    "Pressure",
    "Stem",
    "Vessel",
    "air_density",
    "altitude_of_pressure",
    "balance_resolution",
    "bulb_temperature",
    "correct_densities",
    "correct_indices",
    "correct_pressure",
    "correct_temperatures",
    "density_at",
    "density_from_gravity",
    "hydrometer_density",
    "index_at",
    "looks_like_sea_level",
    "mercury_barometer",
    "method_named",
    "pressure_at_altitude",
    "resolves",
    "sea_level_from_station",
    "smallest_fraction",
    "station_from_sea_level",
    "steam_temperature",
    "stem_correction",
    "true_mass",
    "two_point",
    "vessel_density",
    "vessel_volume",
    "volume_density",
    "water_density",
    "water_density_slope",
    "weighing_u",
]
