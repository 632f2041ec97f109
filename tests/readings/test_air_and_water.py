"""Invariants of water and atmosphere, the pressure at the still, and what is refused."""

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import InputError, OutOfRangeError
from fractionkit.readings import (
    Place,
    altitude_of_pressure,
    correct_pressure,
    looks_like_sea_level,
    mercury_barometer,
    pressure_at_altitude,
    sea_level_from_station,
    station_from_sea_level,
    steam_temperature,
    water_density,
    water_density_slope,
)
from fractionkit.readings.atmosphere import pressure_gradient
from fractionkit.readings.pressure import STATION_U

ZERO = 273.15
altitudes = st.floats(-400.0, 4900.0)
pressures = st.floats(60e3, 108e3)


@given(altitudes)
def test_altitude_round_trip(altitude):
    assert float(altitude_of_pressure(pressure_at_altitude(altitude))) == pytest.approx(altitude, abs=1e-6)


@given(st.floats(90e3, 108e3), st.floats(-400.0, 3000.0))
def test_sea_level_round_trip(sea_level, altitude):
    station = station_from_sea_level(sea_level, altitude)
    assert float(sea_level_from_station(station, altitude)) == pytest.approx(sea_level, rel=1e-12)
    assert (float(station) < sea_level) == (altitude > 0.0) or abs(altitude) < 1e-6


@given(altitudes)
def test_standard_sea_level_gives_the_standard_atmosphere(altitude):
    assert float(station_from_sea_level(101325.0, altitude)) == pytest.approx(
        float(pressure_at_altitude(altitude)), rel=1e-12
    )


@given(altitudes)
def test_gradient_is_hydrostatic(altitude):
    step = 1.0
    numeric = float(pressure_at_altitude(altitude + step) - pressure_at_altitude(altitude - step)) / (2.0 * step)
    assert float(pressure_gradient(pressure_at_altitude(altitude), altitude)) == pytest.approx(numeric, rel=1e-6)


@given(st.floats(4.1, 39.9))
def test_water_gets_lighter_above_four_degrees(celsius):
    slope = float(water_density_slope(celsius + ZERO))
    numeric = float(water_density(celsius + 0.05 + ZERO) - water_density(celsius - 0.05 + ZERO)) / 0.1
    assert slope < 0.0
    assert slope == pytest.approx(numeric, abs=2e-5)


@given(pressures, st.floats(1.0, 5e3))
def test_steam_gets_hotter_with_pressure(pressure, more):
    assert float(steam_temperature(pressure + more)) > float(steam_temperature(pressure))


def test_missing_readings_stay_missing():
    assert np.isnan(water_density([np.nan, 293.15])).tolist() == [True, False]
    assert np.isnan(mercury_barometer([np.nan], 293.15)).all()


@pytest.mark.parametrize("kelvin", [20.0, 272.0, 313.5, 373.0, math.inf])
def test_water_outside_its_range_is_refused(kelvin):
    with pytest.raises(OutOfRangeError, match="0 to 40 °C"):
        water_density(kelvin)


def test_fault_names_file_row_and_column():
    place = Place("water_temp", "cuts.csv", [2, 5])
    with pytest.raises(OutOfRangeError) as caught:
        water_density([293.15, 353.15], place=place)
    assert str(caught.value) == (
        "cuts.csv, row 5, column water_temp: found '80 °C'; expected a temperature of water from 0 to 40 °C"
    )


@pytest.mark.parametrize("altitude", [-600.0, 6000.0, math.inf])
def test_altitude_outside_is_refused(altitude):
    with pytest.raises(OutOfRangeError, match="altitude"):
        pressure_at_altitude(altitude)


def test_station_pressure_passes_through():
    found = correct_pressure(station=98.6e3, station_u=200.0)
    assert (found.value, found.u, found.corrections, found.warnings) == (98.6e3, 200.0, (), ())
    assert correct_pressure(station=98.6e3).u == STATION_U


def test_exact_station_pressure_keeps_zero_uncertainty():
    assert correct_pressure(station=98.6e3, station_u=0.0).u == 0.0


def test_sea_level_pressure_is_brought_down_with_its_uncertainties():
    """At 640 m the air is 8.3 m for each hPa near the ground (common practice: 8 m/hPa), so 7.5 kPa less."""
    found = correct_pressure(sea_level=101.9e3, sea_level_u=50.0, altitude=640.0, altitude_u=20.0)
    assert found.value == pytest.approx(101.9e3 - 640.0 / 8.5 * 100.0, abs=150.0)
    assert found.corrections[0].change == pytest.approx(found.value - 101.9e3)
    # 20 m is 0.23 kPa; a column 10 K off moves 640 m by 3.5 % of 7.4 kPa, 0.26 kPa; the rest is the reading's own.
    assert found.u == pytest.approx(math.sqrt(230.0**2 + 260.0**2 + 47.0**2), rel=0.06)


def test_sea_level_value_entered_as_station_is_noticed():
    found = correct_pressure(station=101.9e3, station_u=200.0, altitude=1600.0)
    assert len(found.warnings) == 1
    assert "looks like a sea-level value" in found.warnings[0]
    assert "83.52 kPa" in found.warnings[0]  # US Standard Atmosphere 1976 at 1600 m (from memory)


def test_honest_station_value_is_left_alone():
    assert correct_pressure(station=83.2e3, station_u=200.0, altitude=1600.0).warnings == ()
    assert correct_pressure(station=101.9e3, altitude=120.0).warnings == ()


def test_station_far_from_both_is_noticed():
    found = correct_pressure(station=92e3, altitude=1600.0)
    assert "far from" in found.warnings[0]


@given(st.floats(0.0, 250.0), st.floats(98.5e3, 104e3))
def test_low_benches_are_never_accused(altitude, station):
    """At 250 m the standard pressure is 3 kPa lower: weather alone makes that, so nothing may be said."""
    allowed = abs(station - float(pressure_at_altitude(altitude))) <= 3000.0
    assert not (allowed and looks_like_sea_level(station, altitude))


@pytest.mark.parametrize(
    ("given_values", "match"),
    [
        ({}, "the station pressure, or the sea-level pressure with the altitude"),
        ({"station": 1e5, "sea_level": 1e5}, "not both"),
        ({"sea_level": 101e3}, "altitude of the bench"),
        ({"station": 986.0}, "20 to 200 kPa"),
        ({"station": math.inf}, "20 to 200 kPa"),
        ({"sea_level": 80e3, "altitude": 100.0}, "86 to 110 kPa"),
        ({"station": 1e5, "station_u": -1.0}, "zero or more"),
        ({"station": 1e5, "station_u": math.nan}, "zero or more"),
    ],
)
def test_pressures_refused(given_values, match):
    with pytest.raises(InputError, match=match):
        correct_pressure(**given_values)


def test_room_imports_nothing_heavy():
    code = (
        "import sys, fractionkit.readings; "
        "sys.exit(any(m in sys.modules for m in ('scipy', 'pandas', 'matplotlib', 'thermo')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
