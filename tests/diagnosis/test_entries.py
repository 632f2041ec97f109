"""Slips of the pen planted in a run read without scatter: units, signs, a result and a test of something else."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.composition.evidence import Detection
from fractionkit.diagnosis import diagnose_evidence
from fractionkit.diagnosis.diagnose import heavy_kind
from fractionkit.diagnosis.ground import ground
from fractionkit.mixture import Mixture
from tests.diagnosis.worlds import PAIR, binary, evidence

THREE = ("dichloromethane", "chloroform", "trichloroethylene")


def shifted(given, change):
    """The same with ``change`` made of both head temperatures, K."""
    heads = {name: getattr(given, name) for name in ("head_start", "head_end")}
    return replace(given, **{name: replace(kind, value=change(kind.value)) for name, kind in heads.items()})


def fahrenheit(kelvin):
    """What °F shows, taken for °C; by definition of the scale, 32 °F at 0 °C and 212 °F at 100 °C."""
    return (kelvin - 273.15) * 180.0 / 100.0 + 32.0 + 273.15


@pytest.mark.parametrize("names", [PAIR, THREE])
def test_degrees_fahrenheit_are_seen(names):
    first = np.linspace(0.9, 0.1, 6)
    w = np.stack([first, *[(1.0 - first) / (len(names) - 1)] * (len(names) - 1)], axis=-1)
    told = diagnose_evidence(Mixture(names), shifted(evidence(names, w), fahrenheit))
    assert told.conflict
    assert told.causes[0].codes == ("temperatures in °F",)
    assert "°F" in told.causes[0].text


def test_a_sound_run_is_not_taken_for_degrees_fahrenheit():
    told = diagnose_evidence(Mixture(PAIR), binary())
    assert "temperatures in °F" not in {candidate.code for candidate in told.candidates}


def test_a_correction_of_the_wrong_sign():
    # shown 1.8 K low and corrected by -1.8 K: all readings 3.6 K too low
    told = diagnose_evidence(Mixture(PAIR), shifted(binary(), lambda T: T - 3.6), correction=-1.8)
    assert told.causes[0].codes == ("correction of the wrong sign",)
    assert "+1.8 K in place of -1.8 K" in told.causes[0].text
    assert "thermometer offset" in {c.code for c in told.candidates}


def test_a_laboratory_s_result_of_another_cut():
    given = binary()
    value, u = np.full((2, 8, 2), np.nan)
    value[2, 1], u[2, 1] = 0.60, 0.005  # the cut holds 0.32
    told = diagnose_evidence(Mixture(PAIR), replace(given, stated=value, stated_u=u))
    assert told.conflict
    assert told.causes[0].codes == ("wrong result",)
    assert "C3" in told.causes[0].text
    assert "too high" in told.causes[0].text
    size = told.candidates[0]
    assert size.low < 0.60 - (1.0 - np.linspace(0.92, 0.08, 8)[2]) < size.high


@pytest.mark.parametrize(("cut", "positive", "limit"), [(0, False, 0.01), (7, True, 0.05)])
def test_a_test_that_says_the_other_thing_is_named(cut, positive, limit):
    # 98 wt% of what the test did not find; 0.1 wt% where one for 5 wt% came out positive, by chance in 6 of 100 (Currie)
    first = np.linspace(0.98, 0.001, 8)
    given = evidence(PAIR, np.stack([first, 1.0 - first], axis=-1))
    told = diagnose_evidence(Mixture(PAIR), replace(given, detections=(Detection(cut, 0, positive, limit),)))
    gain = {candidate.code: candidate.gain for candidate in told.candidates}
    assert gain["wrong test"] > 1.5
    assert gain["wrong test"] == max(gain.values())
    assert f"C{cut + 1}" in next(c.text for c in told.candidates if c.code == "wrong test")


def test_a_light_liquid_that_boils_higher_is_no_chlorinated_solvent():
    # white spirit: boils above 140 °C at 0.78 g/mL (handbooks); 5 wt% of it in tetrachloroethylene, volumes adding
    names = ("trichloroethylene", "tetrachloroethylene")
    w = np.array([[0.02, 0.98], [0.01, 0.99], [0.005, 0.995]])
    given = evidence(names, w)
    pure = given.density.value
    lighter = 1.0 / (0.95 / pure + 0.05 / 780.0)
    light = shifted(replace(given, density=replace(given.density, value=lighter)), lambda T: T + 4.0)
    assert "hydrocarbon" in heavy_kind(ground(Mixture(names), light))
    heavy = shifted(given, lambda T: T + 4.0)
    assert heavy_kind(ground(Mixture(names), heavy)) == ""
    assert heavy_kind(ground(Mixture(names), given)) == ""
