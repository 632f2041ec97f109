"""Densities: each way of measuring against a forward model of it, propagated uncertainty, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import InputError, OutOfRangeError
from fractionkit.readings import (
    DensityReadings,
    Vessel,
    balance_resolution,
    correct_densities,
    density_at,
    hydrometer_density,
    resolves,
    smallest_fraction,
    vessel_density,
    vessel_volume,
    volume_density,
    water_density,
)
from fractionkit.readings.methods import METHODS, method_named

ZERO = 273.15
ROOM = ZERO + 20.0


def shown(liquid, volume, air, glass=0.030, glass_density=2230.0, weights=8000.0):
    """What a balance shows for a glass vessel of ``volume`` m3 full of ``liquid``: Archimedes on both sides of it."""
    force = glass + liquid * volume - air * (volume + glass / glass_density)
    return force / (1.0 - air / weights)


@given(
    st.floats(700.0, 2300.0),
    st.floats(5e-6, 100e-6),
    st.floats(0.9, 1.25),
    st.floats(ZERO + 10.0, ZERO + 35.0),
    st.floats(ZERO + 10.0, ZERO + 35.0),
)
def test_vessel_against_archimedes(density, volume, air, water_temperature, temperature):
    water = float(water_density(water_temperature))
    warm = volume * (1.0 + 9.9e-6 * (temperature - water_temperature))
    empty = shown(air, volume, air)
    net_water, net = shown(water, volume, air) - empty, shown(density, warm, air) - shown(air, warm, air)
    assert float(vessel_volume(net_water, water_temperature, air)) == pytest.approx(volume, rel=1e-10)
    found = float(vessel_density(net, temperature, net_water, water_temperature, air))
    assert found == pytest.approx(density, rel=1e-10)
    assert float(volume_density(net, warm, air)) == pytest.approx(density, rel=1e-10)


def test_whole_run_weighed_against_archimedes():
    """At 98.6 kPa and 20 °C the air weighs 1.167 kg/m3 (perfect gas and half its moisture: 98600/287.05/293.15 less
    0.004); the run must give the densities back, and say what buoyancy did: about a (1 - rho/rho_w).
    """
    air, volume, water_temperature = 1.1672, 25e-6, ZERO + 22.0
    true = np.array([1488.6, 1594.0, np.nan, 1622.7])
    temperature = np.array([ROOM, ZERO + 25.0, np.nan, ZERO + 18.0])
    warm = volume * (1.0 + 9.9e-6 * (temperature - water_temperature))
    empty = shown(air, volume, air)
    weighed = Vessel(empty, shown(float(water_density(water_temperature)), volume, air), water_temperature)
    filled = shown(true, warm, air)
    readings = DensityReadings.of(np.nan, temperature, filled_mass=filled)
    found = correct_densities(readings, method="pycnometer", weighed=weighed, pressure=98.6e3)
    np.testing.assert_allclose(found.measured.value, true, rtol=0.0, atol=0.02)
    np.testing.assert_array_equal(np.isnan(found.measured.value), np.isnan(true))
    buoyancy = float(np.nanmean(air * (1.0 - true / 998.0)))
    # the glass, at most 9.9e-6 x 4 K x 1600, is the rest
    assert found.measured.corrections[1].change == pytest.approx(buoyancy, abs=0.06)


def test_propagated_uncertainty_against_monte_carlo():
    """20 000 runs of a 25 mL pycnometer, 1 mg balance, filled to 2 microlitres and 1e-4, simulated by Archimedes."""
    rng = np.random.default_rng(20)
    count, volume, air, rho = 20_000, 25e-6, 1.2, 1480.0
    balance, fill = 1e-6, math.hypot(2e-9 / volume, 1e-4)
    empty = shown(air, volume, air) + balance * rng.standard_normal(count)
    error = volume * fill * rng.standard_normal((2, count))
    water = float(water_density(ROOM))
    with_water = shown(water, volume, air) + (water - air) * error[0] + balance * rng.standard_normal(count)
    quiet = (vessel_density(shown(rho, volume, air) - empty, ROOM, with_water - empty, ROOM, air)).std()
    filled = shown(rho, volume, air) + (rho - air) * error[1] + balance * rng.standard_normal(count)
    exact_empty, exact_water = shown(air, volume, air), shown(water, volume, air)
    fresh = (vessel_density(filled - exact_empty, ROOM, exact_water - exact_empty, ROOM, air)).std()
    readings = DensityReadings.of(np.nan, ROOM, filled_mass=shown(rho, volume, air))
    weighed = Vessel(exact_empty, exact_water, ROOM, balance_u=balance)
    found = correct_densities(readings, method="pycnometer", weighed=weighed, thermometer_repeat=0.0).measured
    assert found.repeat[0] == pytest.approx(fresh, rel=0.03)
    # water's own density and the air's, which the simulation leaves out, add a few hundredths
    assert found.shared["density"][0] == pytest.approx(quiet, rel=0.05)
    assert 0.1 < found.shared["density"][0] < 0.3


@pytest.mark.parametrize("by_weight", [True, False])
def test_density_temperature_has_the_sign_of_a_wrong_thermometer(by_weight):
    """A thermometer 0.5 K high in cut and water: what comes out against the truth at the temperature shown."""
    high, slope, rho, volume = 0.5, -1.8, 1480.0, 25e-6
    air, weighed, filled = 1.1993, None, np.nan
    if by_weight:
        empty = shown(air, volume, air)
        weighed = Vessel(empty, shown(float(water_density(ROOM)), volume, air), ROOM + high, balance_u=1e-7)
        filled = shown(rho, volume, air)
    readings = DensityReadings.of(np.nan if by_weight else rho, ROOM + high, filled_mass=filled)
    found = correct_densities(readings, method="pycnometer", weighed=weighed, thermometer_bias=high, slope=slope)
    excess = found.measured.value[0] - (rho + slope * high)
    assert found.measured.shared["density temperature"][0] == pytest.approx(excess, rel=0.02)


def test_flask_reading_is_brought_to_its_mark_only_when_asked():
    readings = DensityReadings.of(1500.0, ZERO + 30.0)
    assert correct_densities(readings, method="flask").measured.value[0] == 1500.0
    marked = correct_densities(readings, method="flask", calibration_temperature=ROOM)
    assert marked.measured.value[0] == pytest.approx(1500.0 * (1.0 - 9.9e-5), abs=1e-3)


def test_hydrometer_scale_temperature():
    readings = DensityReadings.of(1500.0, ZERO + 30.0)
    assumed = correct_densities(readings, method="hydrometer").measured
    assert assumed.value[0] == pytest.approx(1500.0 - 0.375, abs=1e-3)
    assert "taken to be true at 20 °C" in assumed.corrections[0].source
    told = correct_densities(readings, method="hydrometer", calibration_temperature=ZERO + 15.0).measured
    assert told.value[0] == pytest.approx(1500.0 - 0.5625, abs=1e-3)


def test_specific_gravity_scale_on_a_hydrometer_is_read_at_the_sample():
    """sg60F/60F scale at 25 °C: times water at 60 °F (999.016 kg/m3, API MPMS 11.4, from memory), glass from 60 °F."""
    readings = DensityReadings.of(1.48, ZERO + 25.0, is_gravity=True, basis=[15.5556, 15.5556])
    found = correct_densities(readings, method="hydrometer")
    assert found.temperature[0] == ZERO + 25.0
    assert found.measured.value[0] == pytest.approx(1.48 * 999.016 * (1.0 - 25e-6 * 9.4444), abs=5e-3)


def test_specific_gravity_believes_its_basis():
    readings = DensityReadings.of(1.48, ZERO + 25.0, is_gravity=True, basis=[20.0, 4.0])
    found = correct_densities(readings)
    assert found.temperature[0] == pytest.approx(ROOM)
    assert found.measured.value[0] == pytest.approx(1.48 * 999.975, abs=1e-3)  # water at 4 °C, Tanaka
    assert "the basis was believed" in found.measured.warnings[0]
    assert found.measured.corrections[0].change == pytest.approx(-0.037, abs=1e-3)


def test_mixed_run_keeps_each_entry_to_itself():
    readings = DensityReadings.of(
        [1500.0, 1.5, np.nan, np.nan],
        [ROOM, np.nan, np.nan, ROOM],
        is_gravity=[False, True, False, False],
        basis=[20.0, 20.0],
        filled_mass=[np.nan, np.nan, np.nan, 62.4512e-3],
    )
    found = correct_densities(readings, method="pycnometer", weighed=Vessel(25.123e-3, 50.0012e-3, ROOM))
    assert np.isnan(found.measured.value).tolist() == [False, False, True, False]
    assert found.measured.shared["density"][0] == METHODS["pycnometer"].bias
    assert found.measured.shared["density"][3] < METHODS["pycnometer"].bias
    assert np.isnan(found.measured.shared["density"][2])


@given(st.floats(1000.0, 1700.0), st.floats(280.0, 310.0), st.floats(280.0, 310.0), st.floats(-2.5, -0.5))
def test_density_at_round_trip(density, first, second, slope):
    moved, u = density_at(density, first, second, slope, 0.1)
    assert float(density_at(moved, second, first, slope)[0]) == pytest.approx(density, rel=1e-12)
    assert float(u) == pytest.approx(0.1 * abs(second - first))


@given(st.floats(600.0, 2000.0), st.floats(280.0, 310.0), st.floats(280.0, 310.0))
def test_glass_round_trip(reading, first, second):
    there = hydrometer_density(reading, first, second)
    assert float(there) * (1.0 + 25e-6 * (first - second)) == pytest.approx(reading, rel=1e-12)


def test_defaults_are_ranked_as_the_trade_ranks_them():
    """Common practice, no source: meter 0.05-0.1, flask 0.5-1 kg/m3, hydrometer about 1, plastic syringe 1-2 %."""
    bias = {name: float(method.bias_of(1500.0)) for name, method in METHODS.items()}
    assert 0.05 <= bias["meter"] <= 0.1 < bias["pycnometer"] < 1.0
    assert 0.5 <= bias["flask"] <= 1.5
    assert bias["hydrometer"] == pytest.approx(1.0)
    assert 15.0 <= bias["syringe"] <= 30.0
    assert all(method.repeat_of(1500.0) <= method.bias_of(1500.0) for method in METHODS.values())


def test_stated_uncertainties_replace_the_defaults():
    found = correct_densities(DensityReadings.of(1500.0, ROOM), bias=0.0, repeat=0.4, thermometer_repeat=0.0)
    assert found.measured.shared["density"][0] == 0.0
    assert found.measured.repeat[0] == 0.4


def test_question_the_method_cannot_answer():
    """u = 15 kg/m3 in a pair 105 kg/m3 apart: 1.96 x 15 / 105 = 28 wt%."""
    assert smallest_fraction(15.0, -105.0) == pytest.approx(0.28, abs=1e-4)
    assert resolves(0.1, 105.0, 0.01)
    assert not resolves(15.0, 105.0, 0.01)
    assert not resolves(0.1, 0.0, 0.5)
    readings = DensityReadings.of([1500.0, np.nan], [ROOM, np.nan])
    syringe = correct_densities(readings, method="syringe", span=105.0, wanted=0.01).measured
    assert "a syringe" in syringe.warnings[0]
    assert "asks for ± 1 wt%" in syringe.warnings[0]
    assert "0.105 g/mL apart" in syringe.warnings[0]
    assert (
        "nothing of composition"
        in correct_densities(readings, method="syringe", span=5.0, wanted=0.01).measured.warnings[0]
    )
    assert correct_densities(readings, method="meter", span=105.0, wanted=0.01).measured.warnings == ()


@pytest.mark.parametrize(
    ("grams", "resolution"),
    [
        ([45.2, 61.27, 33.0], 1e-5),
        ([45.2131, 61.27], 1e-7),
        ([45.213, 61.27], 1e-6),
        ([45.21317], 1e-7),
        ([45, 61], 1e-3),
    ],
)
def test_balance_shows_its_last_digit(grams, resolution):
    assert balance_resolution(np.array(grams) * 1e-3) == resolution


def test_no_density_at_all():
    found = correct_densities(DensityReadings.of([np.nan, np.nan], np.nan), span=100.0, wanted=0.01)
    assert np.isnan(found.measured.value).all()
    assert found.measured.warnings == ()


def test_every_fault_at_once_with_its_row():
    readings = DensityReadings.of(
        [1500.0, 1.5, np.nan, 1480.0, np.nan],
        [np.nan, ROOM, ROOM, 20.0, ROOM],
        is_gravity=[False, True, False, False, False],
        filled_mass=[np.nan, np.nan, 20e-3, 60e-3, 60e-3],
    )
    with pytest.raises(OutOfRangeError) as caught:
        correct_densities(readings, weighed=Vessel(25e-3, 24e-3, ZERO + 60.0), file="cuts.csv", rows=[2, 3, 4, 5, 6])
    told = {(fault.row, fault.column) for fault in caught.value.faults}
    assert told == {
        (2, "density_temp"),
        (3, "density"),
        (4, "filled_mass"),
        (5, "density_temp"),
        (5, "density"),
        (None, "density.water_temp"),
        (None, "density.water_mass"),
    }


@pytest.mark.parametrize(
    ("readings", "extra", "match"),
    [
        (DensityReadings.of(1.5, ROOM), {}, "0.5 to 3.5 g/mL"),
        (DensityReadings.of(math.inf, ROOM), {}, "0.5 to 3.5 g/mL"),
        (DensityReadings.of(-1500.0, ROOM), {}, "0.5 to 3.5 g/mL"),
        (DensityReadings.of(np.nan, ROOM, filled_mass=0.06), {}, "empty_mass, water_mass"),
        (DensityReadings.of(np.nan, ROOM, filled_mass=0.026), {"weighed": Vessel(0.025, 0.05, ROOM)}, "0.5 to 3.5"),
        (DensityReadings.of(np.nan, ROOM, filled_mass=0.06), {"weighed": Vessel(-0.025, 0.05, ROOM)}, "above zero"),
        (
            DensityReadings.of(np.nan, ROOM, filled_mass=math.inf),
            {"weighed": Vessel(0.025, 0.05, ROOM)},
            "not infinity",
        ),
        (DensityReadings.of(1500.0, ROOM), {"method": "eye"}, "hydrometer"),
        (DensityReadings.of(1500.0, ROOM), {"bias": math.nan}, "zero or more"),
        (DensityReadings.of(1.5, ROOM, is_gravity=True, basis=[20.0, 60.0]), {}, "0 to 40 °C"),
    ],
)
def test_densities_refused(readings, extra, match):
    with pytest.raises(InputError, match=match):
        correct_densities(readings, **extra)


def test_unknown_method_names_the_known_ones():
    with pytest.raises(InputError, match="flask, hydrometer, meter, pycnometer, syringe"):
        method_named("pipette")


def test_ten_thousand_cuts_in_one_go():
    count = 10_000
    readings = DensityReadings.of(np.full(count, 1500.0), np.full(count, ROOM))
    assert correct_densities(readings).measured.value.shape == (count,)
