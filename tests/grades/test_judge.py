"""Verdicts on a lot: meets, fails, undecided, not tested; a grade is claimed only when every attribute is met."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats

from fractionkit.errors import InputError
from fractionkit.grades import Grade, Limit, Sample, judge_lot
from fractionkit.grades.file import built_in
from fractionkit.grades.judge import judge
from fractionkit.grades.model import Result
from fractionkit.quantities import Quantity, parse

NAMES = ("dichloromethane", "chloroform")


@dataclass(frozen=True)
class Test:
    """An entered test as the lot's sheet has it."""

    __test__ = False
    attribute: str
    result: Quantity | str
    method: str
    high: Quantity | None = None
    temperature: float | None = None


def lot(mean: float, u: float, *tests: Test, rule="guarded", confidence=0.95, size=4000) -> Sample:
    """A lot of dichloromethane whose assay is normal about ``mean``, by quantiles at even steps in probability."""
    assay = np.clip(stats.norm.ppf((np.arange(size) + 0.5) / size, mean, u), 0.0, 1.0)
    draws = np.stack([assay, 1.0 - assay], axis=-1)
    return Sample("dichloromethane", NAMES, draws, confidence, rule, tests)


def one(grade: str, sample: Sample):
    return judge_lot([grade], sample)[0]


def line(verdict, attribute: str):
    return next(found for found in verdict.attributes if found.attribute == attribute)


FULL = (
    Test("water", parse("0.008 ± 0.002 wt%", "fraction"), "Karl Fischer titration"),
    Test("hydrogen chloride", parse("0.0004 ± 0.0002 wt%", "fraction"), "titration"),
    Test("nonvolatile residue", parse("0 wt%", "fraction"), "evaporation", parse("0.0015 wt%", "fraction")),
    Test("free chlorine", "absent", "iodide and starch"),
    Test("Identification  (Infrared)", "passes", "infrared spectrum"),
    Test("heavy metals", "Complies.", "sulfide"),
    Test("density", parse("1.3205 ± 0.0006 sg25/25", "density"), "pycnometer"),
)


def test_claimed_only_with_everything():
    whole = one("usp-dichloromethane", lot(0.9970, 0.0010, *FULL))
    assert whole.claimed
    assert whole.missing == ()
    for left_out in FULL[:-1]:
        rest = tuple(test for test in FULL if test is not left_out)
        verdict = one("usp-dichloromethane", lot(0.9970, 0.0010, *rest))
        assert not verdict.claimed
        assert len(verdict.missing) == 1
        assert verdict.missing[0].endswith("not tested")


def test_guarded_assay():
    # P(assay >= 99.0 %) from the normal distribution (scipy), not from our code.
    for mean, wanted in ((0.9930, "meets"), (0.9905, "undecided"), (0.9860, "fails")):
        found = line(one("laboratory", lot(mean, 0.0015)), "assay")
        exact = stats.norm.sf(0.99, mean, 0.0015)
        assert found.probability == pytest.approx(exact, abs=5e-4)
        assert found.verdict == wanted
        assert found.false_accept == (pytest.approx(1.0 - exact, abs=5e-4) if wanted == "meets" else None)


def test_confidence_is_what_was_asked_for():
    # 98 % probable: met at 95 %, undecided at 99 %.
    mean = 0.99 + 0.0015 * stats.norm.ppf(0.98)
    assert line(one("laboratory", lot(mean, 0.0015)), "assay").verdict == "meets"
    verdict = one("laboratory", lot(mean, 0.0015, confidence=0.99))
    assert line(verdict, "assay").verdict == "undecided"
    assert "99 % is asked for" in verdict.missing[0]


def test_other_rules():
    simple = line(one("laboratory", lot(0.9905, 0.0015, rule="simple")), "assay")
    assert (simple.verdict, simple.rule) == ("meets", "simple")
    assert simple.false_accept == pytest.approx(stats.norm.cdf(0.99, 0.9905, 0.0015), abs=5e-4)
    assert line(one("laboratory", lot(0.9896, 0.0015, rule="simple")), "assay").verdict == "fails"
    assert line(one("laboratory", lot(0.9896, 0.0015, rule="rounded")), "assay").verdict == "meets"
    assert line(one("laboratory", lot(0.9894, 0.0015, rule="rounded")), "assay").verdict == "fails"


def test_a_number_without_uncertainty_is_undecided_when_guarded():
    bare = Test("water", parse("0.008 wt%", "fraction"), "Karl Fischer titration")
    found = line(one("usp-dichloromethane", lot(0.997, 0.001, bare)), "water")
    assert found.verdict == "undecided"
    assert "no ±" in found.note
    assert line(one("usp-dichloromethane", lot(0.997, 0.001, bare, rule="simple")), "water").verdict == "meets"


@pytest.mark.parametrize(
    ("high", "verdict", "probability"), [("0.0015", "meets", 1.0), ("0.0025", "undecided", 0.8), ("0.2", "fails", 0.01)]
)
def test_below_a_detection_limit(high, verdict, probability):
    # Rectangular between 0 and the limit of detection (JCGM 101:2008, 6.4.2): P(<= 0.002) = 0.002 / high.
    test = Test("residue", parse("0 wt%", "fraction"), "evaporation", parse(f"{high} wt%", "fraction"))
    found = line(one("usp-dichloromethane", lot(0.997, 0.001, test)), "residue on evaporation")
    assert found.verdict == verdict
    assert found.probability == pytest.approx(probability)
    assert found.result == f"< {high} wt%"


@pytest.mark.parametrize(
    ("words", "verdict"), [("Absent", "meets"), ("passes", "meets"), ("present", "fails"), ("maybe", "undecided")]
)
def test_words(words, verdict):
    found = line(
        one("usp-dichloromethane", lot(0.997, 0.001, Test("free halogens", words, "spot test"))), "free halogen"
    )
    assert found.verdict == verdict
    assert found.probability is None


def test_a_number_where_the_limit_is_not_quoted():
    names = ("trichloroethylene", "tetrachloroethylene")
    draws = np.tile([0.999, 0.001], (100, 1))
    water = Test("water", parse("0.01 ± 0.001 wt%", "fraction"), "Karl Fischer titration")
    (verdict,) = judge_lot(["acs-trichloroethylene"], Sample("trichloroethylene", names, draws, tests=(water,)))
    found = line(verdict, "water")
    assert found.verdict == "undecided"
    assert "not quoted" in found.note
    assert found.limit == "as the source says"


def test_computed_density_and_range_of_a_pure_solvent():
    """Pure dichloromethane: 1.3166 g/mL at 25 degC and 39.6 to 40.0 degC, CRC Handbook and papers; water 0.99705 g/mL."""
    sample = Sample("dichloromethane", NAMES, np.tile([1.0, 0.0], (4000, 1)))
    density = sample.result(limit("density", "1.318 sg25/25"))
    assert "not measured" in density.method
    assert density.draws.mean() == pytest.approx(1.3166 / 0.99705, abs=1e-3)
    boils = sample.result(limit("boiling range", "39 degC"))
    assert "no boiling-range test" in boils.method
    first, dry = boils.draws.mean(axis=0) - 273.15
    assert first == pytest.approx(39.8, abs=0.4)
    assert dry == pytest.approx(first, abs=0.1)  # one substance boils at one temperature
    assert (boils.draws[:, 1] >= boils.draws[:, 0]).all()


def limit(attribute: str, low: str, temperature: float | None = None) -> Limit:
    kind = "density" if attribute == "density" else "temperature"
    return Limit(attribute, parse(low, kind), None, None, (), temperature, None, "test", "our own", "")


def test_a_range_widens_with_a_second_component():
    wide = Sample("dichloromethane", NAMES, np.tile([0.9, 0.1], (2000, 1)))
    first, dry = wide.result(limit("boiling range", "39 degC")).draws.mean(axis=0)
    assert dry - first > 1.0


@pytest.mark.parametrize(
    ("typed", "temperature"),
    [("1.3266 ± 0.0004 g/mL", 293.15), ("1.3290 ± 0.0004 sg20/20", None), ("1.3266 ± 0.0004 sg20/4", None)],
)
def test_entered_density_is_moved_to_the_limit(typed, temperature):
    """1.3266 g/mL at 20 degC becomes 1.3205 at 25/25: -0.00185 g/mL a kelvin (CRC), water 0.99821, 0.99997, 0.99705."""
    test = Test("density", parse(typed, "density"), "pycnometer", None, temperature)
    found = lot(1.0, 1e-9, test).result(limit("density", "1.318 sg25/25"))
    assert found.method == "pycnometer, moved to 25 °C"
    assert found.value[0] == pytest.approx((1.3266 - 5 * 0.00185) / 0.99705, abs=5e-4)
    assert found.u[0] >= 0.0004 / 1.96


def test_an_interval_of_density_is_moved_too():
    test = Test("density", parse("1.325 sg20/20", "density"), "hydrometer", parse("1.333 sg20/20", "density"))
    found = lot(1.0, 1e-9, test).result(limit("density", "1.318 sg25/25"))
    low, high = ((end * 0.99821 - 5 * 0.00185) / 0.99705 for end in (1.325, 1.333))  # as above
    assert found.interval == (pytest.approx(low, abs=5e-4), pytest.approx(high, abs=5e-4))


def test_density_without_a_temperature_decides_nothing():
    test = Test("density", parse("1.3266 ± 0.0004 g/mL", "density"), "pycnometer")
    found = line(one("usp-dichloromethane", lot(0.997, 0.001, test)), "relative density")
    assert found.verdict == "undecided"
    assert "no stated temperature" in found.result


def test_computed_boiling_range_against_a_published_limit():
    # Trichloroethylene boils at 87.2 degC (CRC Handbook, from memory 86.9 to 87.3): above the 86.0 degC asked for.
    names = ("trichloroethylene", "chloroform")
    pure = Sample("trichloroethylene", names, np.tile([0.9995, 0.0005], (500, 1)))
    found = line(judge_lot(["federal-trichloroethylene"], pure)[0], "boiling range")
    assert (found.verdict, found.limit) == ("meets", "≥ 86.0 °C")
    light = Sample("trichloroethylene", names, np.tile([0.7, 0.3], (500, 1)))
    assert line(judge_lot(["federal-trichloroethylene"], light)[0], "boiling range").verdict == "fails"


@pytest.mark.parametrize(("ethanol", "verdict"), [(0.0, "fails"), (0.009, "meets"), (0.02, "fails")])
def test_density_window_belongs_to_stabilised_chloroform(ethanol, verdict):
    """1.475 to 1.481 at 20/20 is chloroform with ethanol in it: volumes add, 1.4885 and 0.7893 g/mL, water 0.99821."""
    by_hand = 1.0 / ((1.0 - ethanol) / 1.4885 + ethanol / 0.7893) / 0.99821
    assert (1.475 <= by_hand <= 1.481) == (verdict == "meets")
    draws = np.tile([1.0 - ethanol, ethanol], (1000, 1))
    found = line(
        judge_lot(["bp-reagent-chloroform"], Sample("chloroform", ("chloroform", "ethanol"), draws))[0],
        "relative density",
    )
    assert found.verdict == verdict


def test_stabiliser_that_is_a_component():
    names = ("chloroform", "ethanol")
    ethanol = stats.norm.ppf((np.arange(1000) + 0.5) / 1000, 0.007, 0.0005)
    sample = Sample("chloroform", names, np.stack([1 - ethanol, ethanol], -1))
    verdict = judge_lot(["bp-reagent-chloroform"], sample)[0]
    found = line(verdict, "stabiliser")
    assert found.verdict == "meets"
    assert found.limit == "0.4 to 1.0 wt% ethanol"


def test_entered_boiling_range():
    window = replace(limit("boiling range", "39 degC"), high=parse("41 degC", "temperature"))
    grade = Grade("g", "g", (), (window,), "s", "our own", "", "")
    first, dry = (parse(f"{at} ± 0.4 degC", "temperature") for at in (39.5, 40.6))
    test = Test("boiling point", first, "distillation", dry)
    sample = lot(0.99, 0.001, test)
    verdict = judge(grade, {"boiling range": sample.result(grade.limits[0])})
    found = verdict.attributes[0]
    u = 0.4 / 1.959964
    exact = stats.norm.sf(39, 39.5, u) + stats.norm.cdf(41, 40.6, u) - 1.0
    assert found.probability == pytest.approx(exact, abs=1e-6)
    assert found.result == "39.50 ± 0.40 °C to 40.60 ± 0.40 °C"


def test_own_results_may_be_handed_over():
    grade = next(g for g in built_in() if g.name == "laboratory")
    good = judge(grade, {"assay": Result("gas chromatography", "fraction", value=(0.995,), u=(0.001,))})
    assert good.claimed
    assert judge(grade, {}).missing == ("assay: not tested",)


def test_unknown_grade():
    with pytest.raises(InputError, match="usp-dichloromethane"):
        judge_lot(["pharmacy"], lot(0.99, 0.01))
