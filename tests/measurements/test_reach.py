"""What a reading can tell before it is taken: handbook values, the standard normal table, closed forms."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import typer
from scipy.stats import norm
from typer.testing import CliRunner

from fractionkit.cli.reading import plan as reading_plan
from fractionkit.errors import InputError, UnknownSubstanceError
from fractionkit.measurements.plan_words import as_json, sentences
from fractionkit.measurements.reach import plan_pairs
from fractionkit.mixture import Mixture

app = typer.Typer()
app.command()(reading_plan.command)


def need(plan, kind):
    return next(reading for reading in plan.readings if reading.kind == kind)


def test_chloroform_and_trichloroethylene_are_not_told_apart_by_density():
    # handbook densities at 20 °C: 1.4888 and 1.4642 g/mL (data/checks/densities.csv), 0.00025 g/mL per wt%
    (plan,) = plan_pairs(["chloroform", "trichloroethylene"], "chloroform", 0.99)
    assert plan.density_per_wt_percent / 1000 == pytest.approx((1.4888 - 1.4642) / 100, abs=2e-5)
    assert not plan.told_by_density
    assert "Density cannot tell chloroform from trichloroethylene" in sentences(plan)[0]
    best = {kind: way.tells for kind, way in plan.best()}
    assert min(best["head temperature"], best["refractive index"]) < 0.05
    assert "refractive index" in sentences(plan)[-1]


def test_chloroform_and_carbon_tetrachloride_by_density():
    # handbook densities at 20 °C: 1.4888 and 1.5940 g/mL; volumes adding, rho(w) = 1/(w/rho1 + (1 - w)/rho2)
    (plan,) = plan_pairs(["chloroform", "carbon tetrachloride"], "chloroform", 0.99)
    assert plan.told_by_density
    assert plan.density_per_wt_percent == pytest.approx(1.052, rel=0.02)
    found = need(plan, "density")
    adding = 1 / (0.99 / 1488.8 + 0.01 / 1594.0) - 1488.8
    assert found.change == pytest.approx(adding, abs=0.15)  # the excess volume takes some of it away
    # table of the standard normal distribution: 1.645 leaves 5 % above
    assert found.needed == pytest.approx(found.change / 1.645, rel=1e-3)


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_a_pure_sample_read_with_the_needed_uncertainty_just_passes(confidence):
    # with a flat prior the probability of being at least `purity` after reading f(1) is Phi(change/u)
    (plan,) = plan_pairs(["chloroform", "carbon tetrachloride"], "carbon tetrachloride", 0.98, confidence=confidence)
    for reading in plan.readings:
        assert norm.cdf(reading.change / reading.needed) == pytest.approx(confidence, abs=1e-9)
        if reading.instrument is not None:
            assert math.hypot(reading.instrument, reading.reference) == pytest.approx(reading.needed)


def test_change_of_the_head_temperature_near_the_pure_end():
    # second route: the condition of the dew point of an ideal liquid, y1 P/p1 + y2 P/p2 = 1, solved by scipy
    from scipy.optimize import brentq

    pair = Mixture(["trichloroethylene", "tetrachloroethylene"], activity="ideal")
    (plan,) = plan_pairs(["trichloroethylene", "tetrachloroethylene"], "tetrachloroethylene", 0.995)
    y = pair.mole_fractions(np.array([0.005, 0.995]))

    def dew(T):
        return float((y * 101325.0 / np.exp(pair.ln_psat(T))).sum()) - 1.0

    pure = brentq(lambda T: float(np.exp(pair.ln_psat(T))[1]) - 101325.0, 350.0, 430.0)
    assert need(plan, "head temperature").change == pytest.approx(pure - brentq(dew, 350.0, 430.0), rel=0.15)


def test_the_reference_is_the_limit_where_it_alone_is_too_uncertain():
    (plan,) = plan_pairs(["chloroform", "carbon tetrachloride"], "chloroform", 0.999)
    found = need(plan, "density")
    assert found.reference > found.needed
    assert found.instrument is None
    assert not any(way.enough for way in found.ways)
    assert any("no instrument is enough" in text for text in sentences(plan))
    assert as_json((plan,))["pairs"][0]["readings"][0]["reference_is_the_limit"]


def test_a_harder_purity_needs_more_and_a_better_way_tells_more():
    plans = [plan_pairs(["dichloromethane", "chloroform"], "chloroform", p)[0] for p in (0.9, 0.98, 0.995)]
    needed = [need(plan, "density").needed for plan in plans]
    assert needed == sorted(needed, reverse=True)
    for plan in plans:
        for reading in plan.readings:
            told = [way.tells for way in reading.ways]
            assert told == sorted(told)
            assert all(way.enough == (way.tells <= 1 - plan.purity + 1e-12) for way in reading.ways)


def test_three_components_are_pairs_with_the_target():
    plans = plan_pairs(["chloroform", "ethanol", "carbon tetrachloride"], "67-66-3", 0.99)
    assert [plan.other for plan in plans] == ["ethanol", "carbon tetrachloride"]
    assert all(plan.target == "chloroform" for plan in plans)


def test_bad_input():
    with pytest.raises(InputError, match="two or more"):
        plan_pairs(["chloroform"], "chloroform", 0.99)
    with pytest.raises(InputError, match="one of the components"):
        plan_pairs(["chloroform", "ethanol"], "acetone", 0.99)
    with pytest.raises(UnknownSubstanceError):
        plan_pairs(["chloroform", "ethanl"], "chloroform", 0.99)
    with pytest.raises(InputError, match="less than 100 wt%"):
        plan_pairs(["chloroform", "ethanol"], "chloroform", 1.0)


def run(*arguments: str) -> str:
    done = CliRunner().invoke(app, list(arguments), env={"COLUMNS": "100"}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


PAIR = ("--components", "chloroform, trichloroethylene", "--target", "chloroform", "--purity")


def test_at_the_prompt():
    told = " ".join(run(*PAIR, "95 wt%").split())
    assert "Density cannot tell chloroform from trichloroethylene" in told
    assert "can be shown by: refractive index" in told


def test_json():
    told = json.loads(run(*PAIR, "95 wt%", "--json", "-"))
    assert told["schema"] == "fractionkit/reading-plan/1"
    (pair,) = told["pairs"]
    assert pair["told_apart_by_density"] is False
    assert pair["density_g_per_mL_per_wt_percent"] == pytest.approx(0.00025, abs=2e-5)
    assert {reading["reading"] for reading in pair["readings"]} == {"density", "head temperature", "refractive index"}
    assert pair["enough"]


def test_faults_at_the_prompt_are_told_at_once(tmp_path):
    with pytest.raises(InputError) as caught:
        run("--components", "chloroform", "--target", "chloroform", "--purity", "99 %", "--temp", "20")
    assert {fault.column for fault in caught.value.faults} == {"--components", "--purity", "--temp"}
    with pytest.raises(InputError) as caught:
        run(*PAIR[:2], "--target", "acetone", "--purity", "99 wt%")
    assert caught.value.faults[0].column == "--target"
    assert not list(tmp_path.iterdir())


def test_plan_against_a_calculation_by_hand():
    """Chloroform of 97 wt% with carbon tetrachloride, from published values only.

    Densities at 20 °C: chloroform 1488.64 (doi:10.1021/je700254t), carbon tetrachloride 1594.0 kg/m3 (handbook), thermal
    expansion of chloroform 1498.08 - 1488.64 over 5 K (Int. J. Thermophys. 29 (2008) 586): data/checks/densities.csv. Excess
    volume 0.16 cm3/mol at equal moles (from memory). Molar masses from standard atomic weights.
    """
    (plan,) = plan_pairs(["chloroform", "carbon tetrachloride"], "chloroform", 0.97)
    found = need(plan, "density")
    moles = np.array([0.97 / 119.378, 0.03 / 153.823])
    x = moles / moles.sum()
    volume = 0.97 / 1488.64 + 0.03 / 1594.0 + 4.0 * x[0] * x[1] * 0.16e-6 * moles.sum() * 1e3
    change = 1.0 / volume - 1488.64
    assert found.change == pytest.approx(change, rel=0.03)
    assert found.needed == pytest.approx(change / 1.6449, rel=0.03)  # one-sided 95 %, table of the normal distribution
    # a pycnometer: 0.4 and 0.15 kg/m3 of its own, its thermometer 0.3 and 0.15 K (the tool's defaults)
    slope = (1498.077 - 1488.638) / 5.0
    own = math.sqrt(0.4**2 + 0.15**2 + (0.3 * slope) ** 2 + (0.15 * slope) ** 2)
    pycnometer = next(way for way in found.ways if way.way == "pycnometer")
    assert pycnometer.u == pytest.approx(own, rel=0.02)
    assert pycnometer.tells == pytest.approx(1.6449 * math.hypot(own, found.reference) / (change / 0.03), rel=0.03)
    assert pycnometer.enough


def test_what_density_leaves_open_for_chloroform_and_trichloroethylene_by_hand():
    # 1488.64 and 1464.2 kg/m3 (data/checks/densities.csv): 0.24 kg/m3 a wt%. A pycnometer alone, 0.77 kg/m3 (above), leaves
    # 1.6449 x 0.77 / 0.24 = 5.2 wt% open; what the reference values are uncertain by only adds to that
    (plan,) = plan_pairs(["chloroform", "trichloroethylene"], "chloroform", 0.95)
    found = need(plan, "density")
    pycnometer = next(way for way in found.ways if way.way == "pycnometer")
    alone = 1.6449 * 0.77 / (1488.64 - 1464.2)
    assert alone == pytest.approx(0.052, abs=0.001)
    assert alone < pycnometer.tells < 1.5 * alone
    assert pycnometer.tells > 0.05
    assert not plan.told_by_density
