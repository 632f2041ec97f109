"""Thermometer and refractometer: corrections, the errors they leave, and what is refused."""

import math

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.errors import InputError, OutOfRangeError
from fractionkit.readings import (
    Place,
    Stem,
    bulb_temperature,
    correct_indices,
    correct_temperatures,
    index_at,
    stem_correction,
    two_point,
)
from fractionkit.readings.thermometer import BORE_U, DEFAULT_U, ICE_POINT, PRESSURE, STEAM_POINT, STEM, THERMOMETER

ZERO = 273.15
readings = st.floats(ZERO + 20.0, ZERO + 150.0)


@given(readings, st.floats(0.0, 150.0), st.floats(ZERO + 10.0, ZERO + 80.0), st.sampled_from([0.00016, 0.001]))
def test_stem_is_solved_for_the_bulb(reading, exposed, stem, expansion):
    bulb = float(bulb_temperature(reading, exposed, stem, expansion))
    assert bulb - float(stem_correction(bulb, exposed, stem, expansion)) == pytest.approx(reading, abs=1e-9)


@settings(deadline=None)  # the first call of CoolProp reads its data
@given(readings, st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(80e3, 105e3))
def test_two_points_undo_a_linear_scale(true, at_ice, at_steam, pressure):
    """A thermometer that is off by ``at_ice`` in ice and ``at_steam`` in steam (steam by CoolProp's IAPWS-95)."""
    steam = coolprop.PropsSI("T", "P", pressure, "Q", 1, "Water")

    def shown(temperature):
        return temperature + at_ice + (at_steam - at_ice) * (temperature - ZERO) / (steam - ZERO)

    found = float(two_point(shown(true), shown(ZERO), shown(steam), pressure))
    assert found == pytest.approx(true, abs=2e-3)


def test_nothing_said_means_documented_defaults():
    found = correct_temperatures([350.0, np.nan])
    assert found.value[0] == 350.0
    assert np.isnan(found.value[1])
    assert found.shared[THERMOMETER].tolist() == [DEFAULT_U[None][0]] * 2
    assert found.repeat.tolist() == [DEFAULT_U[None][1]] * 2
    assert (found.corrections, found.warnings) == ((), ())


def test_stated_uncertainties_are_kept_even_zero():
    found = correct_temperatures([350.0], bias=0.0, repeat=0.05)
    assert found.shared[THERMOMETER][0] == 0.0
    assert found.repeat[0] == 0.05


def test_constant_correction_has_its_sign():
    found = correct_temperatures([350.0], correction=-0.4)
    assert found.value[0] == pytest.approx(349.6)
    assert found.corrections[0].change == pytest.approx(-0.4)


def test_two_fixed_points_and_the_errors_they_leave():
    """Half way between ice and steam each fixed point counts half; steam moves 0.28 K for 1 kPa (CoolProp)."""
    steam = coolprop.PropsSI("T", "P", 98e3, "Q", 1, "Water")
    found = correct_temperatures(
        [0.5 * (ZERO + steam)],
        ice_point=ZERO,
        ice_point_u=0.2,
        steam_point=steam,
        steam_point_u=0.1,
        pressure=98e3,
        pressure_u=400.0,
    )
    assert found.value[0] == pytest.approx(0.5 * (ZERO + steam), abs=1e-3)
    assert found.shared[ICE_POINT][0] == pytest.approx(0.1, rel=1e-3)
    assert found.shared[STEAM_POINT][0] == pytest.approx(0.05, rel=1e-3)
    higher = coolprop.PropsSI("T", "P", 98.4e3, "Q", 1, "Water")
    # A true pressure above the one used means hotter steam than was taken: the corrected reading is too low.
    assert found.shared[PRESSURE][0] == pytest.approx(-0.5 * (higher - steam), rel=5e-3)
    assert found.shared[THERMOMETER][0] == BORE_U


def test_one_fixed_point_shifts_the_scale():
    ice = correct_temperatures([350.0], ice_point=ZERO + 0.6)
    assert ice.value[0] == pytest.approx(349.4)
    assert STEAM_POINT not in ice.shared
    shown = coolprop.PropsSI("T", "P", 98e3, "Q", 1, "Water") - 0.8
    steam = correct_temperatures([350.0], steam_point=shown, pressure=98e3, pressure_u=100.0)
    assert steam.value[0] == pytest.approx(350.8, abs=1e-3)
    assert steam.shared[PRESSURE][0] < 0.0


def test_stem_of_a_spirit_thermometer():
    """60 degrees of spirit out at 30 °C, true 80 °C: 0.001 x 60 x 50 = 3 K low by the published rule."""
    found = correct_temperatures([ZERO + 77.0], bias=0.5, stem=Stem(60.0, ZERO + 30.0, "alcohol"))
    assert found.value[0] == pytest.approx(ZERO + 80.0, abs=1e-9)
    assert found.corrections[0].change == pytest.approx(3.0)
    # 5 K of doubt in the stem is 0.3 K, 10 % of the expansion another 0.3 K
    assert found.shared[STEM][0] == pytest.approx(math.hypot(0.3, 0.3), rel=1e-6)
    assert found.shared[THERMOMETER][0] == pytest.approx(0.5 / 0.94)


def test_fixed_points_and_stem_together_are_questioned():
    found = correct_temperatures([350.0], ice_point=ZERO, stem=Stem(50.0, 303.15))
    assert len(found.warnings) == 1
    assert "whole column" in found.warnings[0]


def test_run_without_readings():
    found = correct_temperatures([np.nan, np.nan], ice_point=ZERO, steam_point=ZERO + 99.0, pressure=98e3)
    assert np.isnan(found.value).all()
    assert found.corrections[0].change == 0.0
    assert correct_temperatures([], stem=Stem(10.0, 300.0)).value.shape == (0,)


@pytest.mark.parametrize(
    ("given_values", "match"),
    [
        ({"correction": 0.3, "ice_point": ZERO}, "not both"),
        ({"steam_point": ZERO + 99.0}, "pressure of the day"),
        ({"ice_point": ZERO + 12.0}, "melting ice"),
        ({"steam_point": ZERO + 80.0, "pressure": 101e3}, "steam, near 99.9 °C"),
        ({"ice_point": math.nan}, "melting ice"),
        ({"steam_point": ZERO + 99.0, "pressure": math.inf}, "10 to 200 kPa"),
        ({"bias": -0.1}, "zero or more"),
        ({"repeat": math.nan}, "zero or more"),
        ({"kind": "gas"}, "mercury"),
        ({"stem": Stem(-5.0, 300.0)}, "0 to 400 degrees"),
        ({"stem": Stem(50.0, 30.0)}, "-50 to 300 °C"),
        ({"stem": Stem(50.0, 300.0, "gallium")}, "alcohol"),
    ],
)
def test_thermometers_refused(given_values, match):
    with pytest.raises(InputError, match=match):
        correct_temperatures([350.0], **given_values)


def test_all_readings_outside_are_told_at_once():
    with pytest.raises(OutOfRangeError) as caught:
        correct_temperatures([350.0, 1e6, 20.0, np.inf], place=Place("head_start", "cuts.csv", [2, 3, 4, 6]))
    assert [fault.row for fault in caught.value.faults] == [3, 4, 6]
    assert {fault.column for fault in caught.value.faults} == {"head_start"}


@given(st.floats(1.3, 1.6), st.floats(283.0, 313.0), st.floats(283.0, 313.0))
def test_index_round_trip(index, first, second):
    assert float(index_at(index_at(index, first, second), second, first)) == pytest.approx(index, rel=1e-14)


def test_index_falls_when_warmed():
    """Carbon tetrachloride 1.4601 at 20 °C and 1.4574 at 25 °C (handbook values, from memory): -5.5e-4 /K."""
    assert float(index_at(1.4601, 293.15, 298.15)) == pytest.approx(1.4574, abs=2e-4)


def test_index_errors_have_names_and_signs():
    found = correct_indices([1.4601, np.nan], [293.15, np.nan], bias=2e-4, repeat=1e-4, thermometer_bias=0.4)
    assert found.shared["refractive index"][0] == 2e-4
    assert found.shared["index temperature"][0] == pytest.approx(2.2e-4)
    assert found.repeat[0] == pytest.approx(math.hypot(1e-4, 0.2 * 5.5e-4))
    assert np.isnan(found.value[1])


@pytest.mark.parametrize(
    ("reading", "temperature", "extra", "match"),
    [
        (14.601, 293.15, {}, "from 1 to 2"),
        (1.46, np.nan, {}, "temperature of the prism"),
        (1.46, 20.0, {}, "-20 to 120 °C"),
        (1.46, 293.15, {"instrument": "guess"}, "abbe"),
        (1.46, 293.15, {"bias": -1e-4}, "zero or more"),
    ],
)
def test_indices_refused(reading, temperature, extra, match):
    with pytest.raises(InputError, match=match):
        correct_indices([reading], [temperature], **extra)
