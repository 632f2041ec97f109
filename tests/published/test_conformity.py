"""Conformity: published examples of JCGM 106:2012 and of ASTM E29 rounding, and scipy and decimal as independent routes.

JCGM 106:2012, "Evaluation of measurement data - The role of measurement uncertainty in conformity assessment". That its
clauses 7.3.3 (examples 1 and 2), 7.4 and 8.3.3.2 hold worked examples of conformance probability was read in the list of
contents of UKAS LAB 48; the numbers of the examples below are FROM MEMORY of the guide itself, to the digits it prints.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fractionkit.grades import Limit
from fractionkit.grades.conformity import conformance, decide, normal_below
from fractionkit.grades.e29 import inside_rounded, round_to
from fractionkit.grades.model import Result
from fractionkit.quantities import Quantity, parse


def window(low: float | None = None, high: float | None = None, span: float | None = None) -> Limit:
    """A limit in plain numbers."""

    def end(value: float | None) -> Quantity | None:
        return None if value is None else Quantity(value, None, "number", repr(value), None, None)

    return Limit("any", end(low), end(high), end(span), (), None, None, "", "our own", "")


def measured(value: float, u: float | None) -> Result:
    return Result("measured", "number", value=(value,), u=(u,))


# what, y, u, lower limit, upper limit, p_c as printed (to two digits). From memory of JCGM 106:2012.
JCGM_106 = [
    ("7.3.3 example 1: breakdown voltage of a Zener diode, V", -5.47, 0.05, None, -5.40, "0.92"),
    ("7.3.3 example 2: bursting strength of a container, kPa", 509.7, 8.6, 490.0, None, "0.99"),
    ("7.4: kinematic viscosity of SAE 40 oil at 100 degC, mm2/s", 13.6, 1.8, 12.5, 16.3, "0.66"),
    # 9.5.4: resistors of a process; its figures were read in a public script that follows the example, the 90 % is from memory.
    (
        "9.5.4: resistors of 1500 ohm, standard deviation of the process 0.12 ohm",
        1500.0,
        0.12,
        1499.80,
        1500.20,
        "0.90",
    ),
]

# Risks of a normal distribution outside of limits, read in a copy: the tests of a public uncertainty package of Sandia
# National Laboratories, which print them as those of a spreadsheet of a third party. mean, u, low, high, risk.
READ_RISKS = [(10.0, 0.4, 9.0, 11.0, 0.01242), (10.5, 0.4, 9.0, 11.0, 0.10574), (12.0, 0.4, 9.0, 11.0, 0.99379)]


@pytest.mark.parametrize(("mean", "u", "low", "high", "risk"), READ_RISKS)
def test_risk_as_read(mean, u, low, high, risk):
    assert 1.0 - conformance(measured(mean, u), window(low, high)) == pytest.approx(risk, abs=6e-6)


@pytest.mark.parametrize(("what", "y", "u", "low", "high", "printed"), JCGM_106)
def test_conformance_probability_as_printed(what, y, u, low, high, printed):
    found = conformance(measured(y, u), window(low, high))
    assert f"{found:.2f}" == printed, what


@pytest.mark.parametrize(("what", "y", "u", "low", "high", "printed"), JCGM_106)
def test_draws_say_the_same_as_the_normal_distribution(what, y, u, low, high, printed):
    # Quantiles at even steps in probability: a sample without chance. Error of the share at most one step.
    draws = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000, y, u)
    found = conformance(Result("measured", "number", draws=draws), window(low, high))
    assert found == pytest.approx(float(printed), abs=0.0051)


def test_guarded_rejection_of_the_speed_radar():
    # JCGM 106:2012, 8.3.3.2 example 1, from memory: limit 100 km/h, relative standard uncertainty 2 %, a fine only where
    # the limit is exceeded with 99.9 % probability: from 107 km/h (rounded up) on.
    verdict = {v: decide(measured(v, 0.02 * v), window(high=100.0), "guarded", 0.999)[0] for v in (106.0, 107.0)}
    assert verdict == {106.0: "undecided", 107.0: "fails"}


@pytest.mark.parametrize(
    ("probability", "z"),
    # One-sided standard normal, as any table prints it (JCGM 106:2012, table 1, from memory, has these five).
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_guard_bands_of_a_one_sided_limit(probability, z):
    u, limit = 0.3, 99.0
    for off, verdict in ((0.006, "meets"), (-0.006, "undecided")):
        y = limit + (z + off) * u
        assert decide(measured(y, u), window(low=limit), "guarded", probability)[0] == verdict


@given(st.floats(-8, 8), st.floats(1e-3, 1e3), st.floats(-1e3, 1e3))
def test_normal_distribution_against_scipy(z, u, value):
    limit = value + z * u
    assert normal_below(limit, value, u) == pytest.approx(stats.norm.cdf(limit, value, u), rel=1e-6, abs=1e-12)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_rectangular_distribution_against_scipy(a, b, c, d):
    (low, high), (start, end) = sorted((a, b)), sorted((c, d))
    if end - start < 1e-6:
        return
    flat = stats.uniform(start, end - start)
    found = conformance(Result("t", "number", interval=(start, end)), window(low, high))
    assert found == pytest.approx(flat.cdf(high) - flat.cdf(low), abs=1e-9)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-1, 1))
def test_range_is_never_more_probable_than_it_can_be(first, last, correlation):
    # Ends of a boiling range read with one thermometer, errors correlated to an unknown degree: scipy's bivariate normal
    # distribution gives the exact probability, ours is a lower bound to it (Bonferroni).
    bounded = conformance(Result("t", "number", value=(first, last), u=(1.0, 1.0)), window(-1.0, 1.5))
    both = stats.multivariate_normal([-first, last], [[1.0, -correlation], [-correlation, 1.0]], allow_singular=True)
    assert bounded <= both.cdf([1.0, 1.5]) + 1e-4
    assert bounded == pytest.approx(max(stats.norm.cdf(first + 1.0) + stats.norm.cdf(1.5 - last) - 1.0, 0.0), abs=1e-9)


# --- rounding: ASTM E29 ---------------------------------------------------------------------------------------------
# Examples of agencies whose rule is that of E29, read in copies:
# ATT-70/96, "Rounding-off calculated values" (Alberta Transportation test method): value, place, rounded;
# the sampling and testing manual of a state highway agency that cites E29, "Rounding procedures for determining
# significant digits".
ATT_70 = [
    ("5.684", "0.01", "5.68"), ("5.686", "0.01", "5.69"), ("5.6750", "0.01", "5.68"), ("5.6850", "0.01", "5.68"),
    ("5.6852", "0.01", "5.69"), ("5.765", "0.01", "5.76"), ("5.755", "0.01", "5.76"), ("5.781", "0.01", "5.78"),
    ("5.688", "0.01", "5.69"), ("51.2", "1", "51"), ("50.49", "1", "50"), ("50.5", "1", "50"), ("51.5", "1", "52"),
    ("51.51", "1", "52"), ("13.12", "0.1", "13.1"), ("13.25", "0.1", "13.2"), ("13.35", "0.1", "13.4"),
    ("97.55", "0.1", "97.6"), ("97.65", "0.1", "97.6"), ("97.12", "0.1", "97.1"), ("97.52", "0.1", "97.5"),
    ("2350.12", "1", "2350"), ("2350.82", "1", "2351"), ("2350.5", "1", "2350"), ("2351.5", "1", "2352"),
    ("2350.51", "1", "2351"), ("2350.49", "1", "2350"),
]  # fmt: skip
STATE_MANUAL = [
    ("45.71", "0.1", "45.7"), ("45.74", "0.1", "45.7"), ("45.76", "0.1", "45.8"), ("45.79", "0.1", "45.8"),
    ("45.7500", "0.1", "45.8"), ("45.4500", "0.1", "45.4"), ("45.45001", "0.1", "45.5"), ("45.45105", "0.1", "45.5"),
    ("45.45099", "0.1", "45.5"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "place", "rounded"), ATT_70 + STATE_MANUAL)
def test_rounding_as_printed(value, place, rounded):
    assert round_to(Decimal(value), Decimal(place)) == Decimal(rounded)


@pytest.mark.parametrize(("value", "place", "rounded"), ATT_70 + STATE_MANUAL)
def test_a_limit_is_met_as_its_own_rounding_says(value, place, rounded):
    """The rounded value itself is the last limit that is met, in either direction."""
    limit = parse(rounded, "number")
    more, less = (parse(str(Decimal(rounded) + step * Decimal(place)), "number") for step in (1, -1))
    observed = float(value)
    assert inside_rounded(observed, limit, limit)
    assert not inside_rounded(observed, more, None)
    assert not inside_rounded(observed, None, less)


def test_the_slump_example():
    # Iowa DOT, Instructional Memorandum 202 (read in a copy; it takes E29's rounding method, but for halves): a slump of
    # 4 1/4 in. is within a tolerance of at most 4 in., since it rounds to 4; at most 4.0 in. it is outside of.
    assert inside_rounded(4.25, None, parse("4", "number"))
    assert not inside_rounded(4.25, None, parse("4.0", "number"))


@pytest.mark.parametrize(
    ("low", "observed", "rounded", "absolute"),
    # E29's two methods on limits of this trade, worked by hand.
    [
        ("99 wt%", 0.985, "fails", "fails"),  # 98.5 goes to the even 98
        ("98 wt%", 0.975, "meets", "fails"),  # 97.5 goes to the even 98
        ("99 wt%", 0.9851, "meets", "fails"),
        ("99.0 wt%", 0.9851, "fails", "fails"),
        ("99.0 wt%", 0.9896, "meets", "fails"),
        ("99.0 wt%", 0.9900, "meets", "meets"),
    ],
)
def test_rounding_and_absolute_method(low, observed, rounded, absolute):
    limit = Limit("assay", parse(low, "fraction"), None, None, (), None, None, "", "our own", "")
    result = Result("measured", "fraction", value=(observed,), u=(0.01,))
    assert decide(result, limit, "rounded", 0.95)[0] == rounded
    assert decide(result, limit, "simple", 0.95)[0] == absolute


@given(st.decimals(-1000, 1000, places=6), st.integers(-4, 2))
def test_rounding_against_the_decimal_module(value, exponent):
    place = Decimal(1).scaleb(exponent)
    # Independent route: round to so many significant digits in a decimal context.
    if abs(value) < place * 10:
        return
    digits = value.adjusted() - exponent + 1
    expected = Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(value)
    assert round_to(value, place) == expected


@given(st.integers(4_000, 16_000), st.integers(-300, 300))
def test_temperature_is_rounded_in_the_unit_of_its_limit(hundredths, off):
    """A limit in °C counts tenths of °C: the zero of the kelvin scale, 273.15, must not shift the halves."""
    limit = Decimal(hundredths // 10) / 10
    observed = limit + Decimal(off) / 100
    expected = observed.quantize(Decimal("0.1"), rounding=ROUND_HALF_EVEN) <= limit
    high = parse(f"{limit:.1f} degC", "temperature")
    assert inside_rounded(float(observed) + 273.15, None, high) == expected


def test_risk_of_false_acceptance_is_the_complement():
    # Simple acceptance at the limit itself accepts with a risk of one half (JCGM 106:2012, 8.2.2: "as high as 50 %").
    verdict, chance = decide(measured(99.0, 0.2), window(low=99.0), "simple", 0.95)
    assert verdict == "meets"
    assert chance == 0.5
    assert math.isclose(normal_below(99.0, 99.0, 0.2), 0.5)


def test_guarded_acceptance_keeps_its_promise():
    """Of what is accepted at 95 %, at most 5 % do not conform; of what is failed, at most 5 % do.

    A simulation that uses none of our formulas: true values all over the place about the limit, each measured once with a
    normal error. What a value is, given what was measured, is then normal about it (JCGM 106:2012, 6.3.2, flat prior).
    """
    rng = np.random.default_rng(106)
    u, limit = 0.2, window(low=99.0)
    truth = rng.uniform(97.0, 101.0, 6000)
    seen = truth + rng.normal(0.0, u, truth.size)
    verdicts = np.array([decide(measured(value, u), limit, "guarded", 0.95)[0] for value in seen])
    conforms = truth >= 99.0
    accepted, failed = verdicts == "meets", verdicts == "fails"
    # Three standard deviations of a share of about 2,500 are 1.3 %.
    assert 1.0 - conforms[accepted].mean() <= 0.05
    assert conforms[failed].mean() <= 0.05
    assert accepted.mean() == pytest.approx(0.5 - 1.645 * u / 4.0, abs=0.02)  # the guard band costs what it must
    assert (verdicts == "undecided").mean() == pytest.approx(2 * 1.645 * u / 4.0, abs=0.02)


@given(st.floats(-5, 5), st.floats(0.01, 3))
def test_simple_acceptance_is_an_even_chance(away, u):
    """One limit, a normal value: the estimate is inside exactly where conforming is at least as probable as not."""
    verdict, chance = decide(measured(99.0 + away, u), window(low=99.0), "simple", 0.95)
    assert (verdict == "meets") == (chance >= 0.5 - 1e-12)


@given(st.floats(-5, 5), st.floats(0.01, 3), st.floats(0.5, 0.999), st.floats(0.5, 0.999))
def test_more_confidence_never_decides_more(away, u, one, other):
    less, more = sorted((one, other))
    found = decide(measured(99.0 + away, u), window(low=99.0), "guarded", less)[0]
    stricter = decide(measured(99.0 + away, u), window(low=99.0), "guarded", more)[0]
    assert stricter in (found, "undecided")
