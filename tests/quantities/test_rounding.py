"""Figures to their uncertainty. Expected texts worked by hand from the rule of JCGM 100:2008, 7.2.6."""

import math
import re
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fractionkit.quantities import (
    COVERAGE_95,
    UNKNOWN,
    decimals_of,
    format_floor,
    format_interval,
    format_mass,
    format_typed,
    format_value,
    format_with_half_width,
    mass_scale,
)


@pytest.mark.parametrize(
    "half, decimals", [(0.0012, 4), (0.12, 2), (0.994, 2), (0.996, 1), (1.0, 1), (12, 0), (12345, 0), (0, 0)]
)
def test_two_digits_of_the_half_width(half, decimals):
    assert decimals_of(half) == decimals


@pytest.mark.parametrize(
    "value, half, text",
    [
        (1.47863, 0.0012, "1.4786"),
        (1.47863, 0.012, "1.479"),
        (98.6, 0.4, "98.60"),
        (61.23, 12, "61"),
        (-0.001, 1, "0.0"),
    ],
)
def test_value_to_its_uncertainty(value, half, text):
    assert format_value(value, half / COVERAGE_95) == text


def test_value_without_uncertainty_shows_six_digits():
    assert format_value(1.478634567) == "1.47863"
    assert format_value(float("nan"), 0.1) == UNKNOWN


@pytest.mark.parametrize(
    "value, half, kind, unit, text",
    [
        (98600.0, 400.0, "pressure", None, "98.60 ± 0.40 kPa"),
        (334.35, 0.5, "temperature", None, "61.20 ± 0.50 °C"),
        (334.35, 0.5, "temperature", "°F", "142.16 ± 0.90 °F"),
        (1478.8, 1.2, "density", None, "1.4788 ± 0.0012 g/mL"),
        (1.482, 0.002, "specific_gravity", None, "1.4820 ± 0.0020"),
    ],
)
def test_value_with_half_width(value, half, kind, unit, text):
    assert format_with_half_width(value, half / COVERAGE_95, kind, unit) == text


@pytest.mark.parametrize(
    "estimate, low, high, text",
    [
        (0.301, 0.195, 0.407, "30 (19–41) wt%"),
        (0.9997, 0.9995, 0.9999, "99.970 (99.950–99.990) wt%"),
        (0.989, 0.95, 0.9997, "98.9 (95.0–99.97) wt%"),  # not 100.0: the interval excludes it
        (0.9997, 0.90, 0.99999, "99.97 (90.0–100.0) wt%"),  # one decimal more would not keep it off
        (0.99, 0.97, 1.0, "99.0 (97.0–100.0) wt%"),  # the interval reaches 100: honest
        (0.02, 0.0001, 0.05, "2.0 (0.01–5.0) wt%"),
        (0.3, 0.0, 1.0, "30 (0–100) wt%"),
        (0.25, 0.000003, 0.95, "25 (0–95) wt%"),
        (0.0002, 0.0, 0.0005, "< 0.05 wt%"),
        (0.0002, 1e-7, 0.000421, "< 0.043 wt%"),  # rounded up
        (0.9998, 0.9995, 1.0, "> 99.95 wt%"),
        (0.003, 0.001, 0.005, "0.30 (0.10–0.50) wt%"),
        (1 + 1e-12, 0.99, 1 + 1e-9, "100.00 (99.00–100.00) wt%"),
    ],
)
def test_fraction_interval(estimate, low, high, text):
    assert format_interval(estimate, low, high) == text


def test_interval_of_other_kinds():
    assert format_interval(1478.63, 1477.12, 1480.18, "density") == "1.4786 (1.4771–1.4802) g/mL"
    assert format_interval(334.35, 333.9, 335.2, "temperature") == "61.20 (60.75–62.05) °C"
    assert format_interval(float("nan"), 0, 1) == UNKNOWN


FRACTION = st.floats(0, 1)


@given(FRACTION, FRACTION, FRACTION)
def test_interval_text_is_honest(first, second, third):
    """Never outside 0–100, never narrower than the interval, an end only where it is not clearly excluded."""
    low, estimate, high = sorted((first, second, third))
    assume(high - low > 1e-7)
    text = format_interval(estimate, low, high)
    figures = [Decimal(figure) for figure in re.findall(r"\d+(?:\.\d+)?", text)]
    assert all(0 <= figure <= 100 for figure in figures)
    if text.startswith(("<", ">")):
        (bound,) = figures
        inside = float(bound) >= 100 * high - 1e-9 if text[0] == "<" else float(bound) <= 100 * low + 1e-9
        assert inside
        return
    shown, bottom, top = figures
    assert float(bottom) <= 100 * low + 1e-9
    assert float(top) >= 100 * high - 1e-9
    assert bottom <= shown <= top
    step = max(10 * (high - low), 0.01)  # per cent: a tenth of the width, what the last digit shown is at most
    assert top < 100 or 100 * (1 - high) <= step
    assert shown < 100 or estimate >= 1 - 1e-6
    assert bottom > 0 or 100 * low <= step


@given(value=st.floats(-1e6, 1e6), u=st.floats(1e-6, 1e3))
def test_rounding_costs_less_than_the_uncertainty(value, u):
    assert abs(float(format_value(value, u)) - value) <= max(0.06 * COVERAGE_95 * u, 0.5001 if u > 5 else 0, 1e-6)


@pytest.mark.parametrize(
    ("mass", "text", "bare"),
    [
        (0.1743, "174.3 g", "174.3"),
        (9.9999, "9999.9 g", "9999.9"),
        (10.0, "10.00 kg", "10.00 kg"),
        (250.0, "250.00 kg", "250.00 kg"),
        (-12.346, "-12.35 kg", "-12.35 kg"),
        (None, "–", "–"),
        (math.nan, "–", "–"),
    ],
)
def test_masses_from_ten_kilograms_on_are_told_in_kilograms(mass, text, bare):
    """Ten times a thousand grams is ten kilograms: the unit alone changes, and a column headed g says so cell by cell."""
    assert format_mass(mass) == text
    assert format_mass(mass, unit=False) == bare


def test_intervals_of_masses_change_their_unit_with_their_estimate():
    assert format_interval(0.037, 0.034, 0.040, "mass") == "37.0 (34.0–40.0) g"
    assert format_interval(37.0, 34.0, 40.0, "mass") == "37.0 (34.0–40.0) kg"
    assert format_with_half_width(250.0, 0.5 / 1.959964, "mass") == "250.00 ± 0.50 kg"
    assert format_interval(-12.0, -13.0, -11.0, "mass_difference") == "-12.0 (-13.0–-11.0) kg"
    assert mass_scale(9.99) == ("g", 1e3)
    assert mass_scale(10.0) == ("kg", 1.0)


def test_shares_as_typed_and_lower_bounds():
    assert [format_typed(share) for share in (0.99, 0.995, 0.99999)] == ["99 wt%", "99.5 wt%", "99.999 wt%"]
    assert format_typed(0.95, "%") == "95 %"
    # a bound is never raised: 98.99 is "at least 98.9", 99.996 is not "at least 100"
    assert [format_floor(bound) for bound in (0.9899, 0.99996, 0.3)] == ["98.9 wt%", "99.99 wt%", "30.0 wt%"]
