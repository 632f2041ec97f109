"""One fault planted in a run read without scatter: it leads, with its size, or ties with what no reading tells from it."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.diagnosis import check_readings, diagnose_evidence
from fractionkit.mixture import Mixture
from tests.diagnosis.worlds import PAIR, PRESSURE, binary, distilled, evidence, with_density

WATER_20 = 0.998207  # density of water at 20 C in g/mL: Tanaka et al., Metrologia 38 (2001) 301


@pytest.fixture(scope="module")
def mixture():
    return Mixture(PAIR)


def codes(told):
    return [candidate.code for candidate in told.candidates]


def test_nothing_planted_raises_no_conflict(mixture):
    told = diagnose_evidence(mixture, binary())
    assert not told.conflict
    assert codes(told)[0] == "nothing wrong"
    assert told.consistency > 0.5
    assert not any(reading.stands_out for reading in told.readings)
    assert told.tell_apart is None


def test_sea_level_pressure_ties_with_the_thermometer_and_a_barometer_tells(mixture):
    # 89 874.6 Pa at 1000 m, 101 325 Pa at sea level: international standard atmosphere, ISO 2533, table 1.
    told = diagnose_evidence(mixture, replace(binary(), pressure=PRESSURE * 101_325.0 / 89_874.6))
    first = told.candidates[0]
    assert told.conflict
    assert first.code == "sea-level pressure"
    assert first.low < 1000.0 < first.high
    assert {c.code for c in told.leading} >= {"sea-level pressure", "thermometer offset"}
    assert "barometer" in told.tell_apart


def test_sea_level_is_no_explanation_where_the_sheet_gave_sea_level_and_altitude(mixture):
    told = diagnose_evidence(mixture, replace(binary(), pressure=PRESSURE * 1.1), station=False)
    assert codes(told)[0] == "thermometer offset"
    assert told.candidates[0].size < -2.0


def test_density_read_five_kelvin_warmer(mixture):
    given = binary()
    w = np.linspace(0.92, 0.08, 8)
    w = np.stack([w, 1.0 - w], axis=-1)
    change = mixture.density(w, 300.15) - mixture.density(w, 295.15)
    told = diagnose_evidence(mixture, with_density(given, change))
    assert told.conflict
    assert codes(told)[0] == "density temperature"
    assert "5.0 K warmer" in told.candidates[0].text


def test_density_of_one_cut_with_a_bubble(mixture):
    change = np.zeros(8)
    change[4] = -12.0
    told = diagnose_evidence(mixture, with_density(binary(), change))
    assert codes(told)[0] == "bubble"
    assert "C5" in told.candidates[0].text
    assert told.candidates[0].low < -12.0 < told.candidates[0].high
    assert min(told.readings, key=lambda reading: reading.probability).cut == "C5"


def test_low_bulb_in_the_first_cut(mixture):
    given = binary()
    low = np.zeros(8)
    low[0] = 4.0
    given = replace(
        given,
        head_start=replace(given.head_start, value=given.head_start.value - low),
        head_end=replace(given.head_end, value=given.head_end.value - 0.5 * low),
    )
    told = diagnose_evidence(mixture, given)
    assert told.conflict
    assert "low bulb" in codes(told)[:2]


@pytest.mark.parametrize(("written", "gravity"), [(1.0 / WATER_20, False), (WATER_20, True)])
def test_specific_gravity_and_density_confused(written, gravity):
    pair = ("dichloromethane", "carbon tetrachloride")  # 36 K apart: head temperatures tell composition best
    first = np.linspace(0.95, 0.05, 10)
    given = evidence(pair, np.stack([first, 1.0 - first], axis=-1))
    given = replace(given, density=replace(given.density, value=given.density.value * written))
    told = diagnose_evidence(Mixture(pair), given, gravity=gravity)
    expected = "density as specific gravity" if gravity else "specific gravity as density"
    assert expected in codes(told)


@pytest.mark.parametrize(("extra", "amount"), [("ethanol", 0.04), ("tetrachloroethylene", 0.06)])
def test_a_third_component_is_found_with_those_that_no_reading_tells_from_it(mixture, extra, amount):
    w, mass = distilled((*PAIR, extra), [0.6 * (1.0 - amount), 0.4 * (1.0 - amount), amount])
    told = diagnose_evidence(mixture, evidence((*PAIR, extra), w), mass)
    assert told.conflict
    first = told.causes[0]
    assert f"third component: {extra}" in first.codes
    assert first.tied
    assert "that the sheet does not name" in first.text
    assert set(first.codes) <= {candidate.code for candidate in told.candidates}
    own = next(c for c in told.candidates if c.code == f"third component: {extra}")
    assert own.low < w[:, 2].max() < own.high


def test_components_that_do_the_same_are_one_cause_and_a_reading_that_would_part_them_is_named(mixture):
    extra = "1,1,2,2-tetrachloroethane"
    w, mass = distilled((*PAIR, extra), [0.57, 0.38, 0.05])
    told = diagnose_evidence(mixture, evidence((*PAIR, extra), w), mass)
    first = told.causes[0]
    # two readings a cut, two unknowns: only how fast each boils out is left to tell heavy components apart by
    assert {f"third component: {extra}", "third component: tetrachloroethylene"} <= set(first.codes)
    assert "a heavier component that the sheet does not name" in first.text
    assert "do not tell them apart" in first.text
    assert first.probability > 0.9
    assert told.tell_apart


def test_four_components_are_diagnosed():
    names = ("dichloromethane", "chloroform", "trichloroethylene", "tetrachloroethylene")
    w, mass = distilled(names, [0.25] * 4, cuts=3)
    assert not diagnose_evidence(Mixture(names), evidence(names, w), mass).conflict


def test_a_reading_is_told_against_what_the_others_expect(mixture):
    change = np.zeros(8)
    change[4] = -12.0
    checks = check_readings(mixture, with_density(binary(), change))
    worst = min(checks, key=lambda check: check.probability)
    assert worst.cut == "C5"
    assert worst.stands_out
    assert {check.cut for check in checks if check.stands_out} == {
        "C5"
    }  # not its neighbours, though the error is shared
    # density and head temperature of C5 contradict each other, and each is told against what the other says
    density = next(check for check in checks if check.cut == "C5" and check.kind == "density")
    assert density.stands_out
    assert density.text.startswith("density of C5: 1.5")
    assert "g/mL, where the other readings lead one to expect" in density.text


def test_two_kinds_of_reading_are_not_needed(mixture):
    given = binary()
    blank = np.full(8, np.nan)
    only_density = replace(
        given,
        head_start=replace(given.head_start, value=blank, repeat=blank),
        head_end=replace(given.head_end, value=blank, repeat=blank),
    )
    only_heads = replace(given, density=replace(given.density, value=blank, repeat=blank))
    for partial in (only_density, only_heads):
        told = diagnose_evidence(mixture, partial)
        assert not told.conflict
        assert codes(told)[0] == "nothing wrong"


def test_one_cut_and_a_long_run(mixture):
    assert not diagnose_evidence(mixture, binary(1)).conflict
    told = diagnose_evidence(mixture, binary(30), np.full(30, 0.05))
    assert not told.conflict
    assert len(told.readings) == 2 * 24
