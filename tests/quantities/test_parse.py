"""Bench notation, what is read and what is refused. Expected values: definitions of the units, worked by hand."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fractionkit.errors import InputError, QuantityError
from fractionkit.quantities import COVERAGE_95, KINDS, Quantity, accepted_units, parse

NBSP = "\u00a0"
READ = [
    ("748 mmHg", "pressure", 99725.14578642),  # 748 × 133.322387415 Pa (13.5951 g/cm3 × 9.80665 m/s2 × 1 mm)
    ("99,2 kPa", "pressure", 99200.0),
    ("29.92 inHg", "pressure", 101320.75),  # NIST SP 811: 29.92 × 3386.389 Pa
    ("14.696 psi", "pressure", 101325.35),  # NIST SP 811: 14.696 × 6894.757 Pa
    ("1013.25 mbar", "pressure", 101325.0),
    ("1013.25 hPa", "pressure", 101325.0),
    ("760 torr", "pressure", 101325.0),
    ("1 atm", "pressure", 101325.0),
    ("748 mm Hg", "pressure", 99725.14578642),
    ("748" + NBSP + "mmHg", "pressure", 99725.14578642),
    ("61.2 °C", "temperature", 334.35),
    ("61,2 °C", "temperature", 334.35),
    ("61.2C", "temperature", 334.35),
    ("61.2℃", "temperature", 334.35),
    ("61.2 degC", "temperature", 334.35),
    ("61.2 º C", "temperature", 334.35),
    ("142 °F", "temperature", 334.2611),
    ("142F", "temperature", 334.2611),
    ("334 K", "temperature", 334.0),
    ("\u221263.5 °C", "temperature", 209.65),
    ("\u20135 °C", "temperature", 268.15),
    ("-40 °F", "temperature", 233.15),
    ("0.8 degC", "temperature_difference", 0.8),
    ("-0.4 °C", "temperature_difference", -0.4),
    ("0.8 K", "temperature_difference", 0.8),
    ("1.8 °F", "temperature_difference", 1.0),
    ("0.5 lb", "mass", 0.226796185),
    ("8 oz", "mass", 0.226796185),
    ("1480 g", "mass", 1.48),
    ("0 g", "mass", 0.0),
    ("+1.48 kg", "mass", 1.48),
    (".5 g", "mass", 5e-4),
    ("1.2e3 mg", "mass", 1.2e-3),
    ("75 mL", "volume", 7.5e-5),
    ("75 cm³", "volume", 7.5e-5),
    ("75 ml", "volume", 7.5e-5),
    ("250 µL", "volume", 2.5e-7),  # micro sign
    ("250 \u03bcL", "volume", 2.5e-7),  # Greek mu
    ("1.4788 g/mL", "density", 1478.8),
    ("1,4788 g/cm3", "density", 1478.8),
    ("1.4788 g·cm⁻³", "density", 1478.8),
    ("1478.8 kg/m³", "density", 1478.8),
    ("1,480 g/mL", "density", 1480.0),  # the only comma reading that matter allows
    ("30 wt%", "fraction", 0.3),
    ("30 wt %", "fraction", 0.3),
    ("250 mg/kg", "fraction", 2.5e-4),
    ("99,970 wt%", "fraction", 0.9997),
    ("0,480 g", "mass", 4.8e-4),  # a leading zero cannot group thousands
    ("1480,500 g", "mass", 1.4805),  # nor four digits before the comma
    ("101,325 kPa", "pressure", 101325.0),  # 101 MPa is no bench pressure
    ("1,013 bar", "pressure", 101300.0),
    ("640 m", "length", 640.0),
    ("2100 ft", "length", 640.08),
    ("-400 m", "length", -400.0),
    ("1.4459", "refractive_index", 1.4459),
    ("1,4459 nD", "refractive_index", 1.4459),
    ("95 %", "probability", 0.95),
    ("0.95", "probability", 0.95),
    ("5", "number", 5.0),
    ("90 min", "time", 5400.0),
    ("250 W", "power", 250.0),
    ("120 kJ", "energy", 1.2e5),
    ("6 mL/min", "flow", 1e-7),
]


@pytest.mark.parametrize("text, kind, value", READ)
def test_reads_bench_notation(text, kind, value):
    found = parse(text, kind)
    assert found.value == pytest.approx(value, rel=1e-7, abs=1e-12)
    assert found.u is None
    assert (found.kind, found.text, found.basis) == (kind, text, None)


# (text, kind, value, 95 % half-width), SI
SPREAD = [
    ("98.6 ± 0.4 kPa", "pressure", 98600.0, 400.0),
    ("98.6 +/- 0.4 kPa", "pressure", 98600.0, 400.0),
    ("98.6+-0.4 kPa", "pressure", 98600.0, 400.0),
    ("98.6 +/\u2212 0.4 kPa", "pressure", 98600.0, 400.0),
    ("(98.6 ± 0.4) kPa", "pressure", 98600.0, 400.0),
    ("98,6 ± 0,4 kPa", "pressure", 98600.0, 400.0),
    ("98.6 kPa ± 0.4 kPa", "pressure", 98600.0, 400.0),
    ("98.6 kPa ± 3 mmHg", "pressure", 98600.0, 399.967162),
    ("98.6 kPa ± 0.5 %", "pressure", 98600.0, 493.0),
    ("61.2 ± 0.5 °C", "temperature", 334.35, 0.5),  # no offset in a half-width
    ("61.2 °C ± 0.9 °F", "temperature", 334.35, 0.5),
    ("142 ± 0.9 °F", "temperature", 334.2611111, 0.5),
    ("30 ± 10 wt%", "fraction", 0.30, 0.10),
    ("30 wt% ± 10 wt%", "fraction", 0.30, 0.10),
    ("1.4788 g/mL ± 0.1 %", "density", 1478.8, 1.4788),
    ("25.12 g ± 2 mg", "mass", 0.02512, 2e-6),
    ("95 ± 2 %", "probability", 0.95, 0.02),
    ("1.4459 ± 0.0002", "refractive_index", 1.4459, 2e-4),
]


@pytest.mark.parametrize("text, kind, value, half", SPREAD)
def test_half_width_is_95_percent(text, kind, value, half):
    found = parse(text, kind)
    assert found.value == pytest.approx(value, rel=1e-8)
    assert found.u == pytest.approx(half / 1.959964, rel=1e-7)
    assert found.half_width == pytest.approx(half, rel=1e-7)


def test_coverage_factor_is_the_normal_quantile():
    # Phi(1.959964) = 0.975 to the digits given; math.erf is the closed form.
    assert math.erf(COVERAGE_95 / math.sqrt(2)) == pytest.approx(0.95, abs=1e-8)


GRAVITY = [
    ("1.482 sg20/20", (20.0, 20.0), 1.482, None),
    ("1,482 sg 20/20", (20.0, 20.0), 1.482, None),
    ("1.482 SG25/25", (25.0, 25.0), 1.482, None),
    ("1.482sg20/4", (20.0, 4.0), 1.482, None),
    ("1.482 sg20°C/4°C", (20.0, 4.0), 1.482, None),
    ("1.482 ± 0.002 sg20/20", (20.0, 20.0), 1.482, 0.002),
    ("1.482 sg20/20 ± 0.002", (20.0, 20.0), 1.482, 0.002),
    ("1.482 sg20/20 ± 0.002 sg20/20", (20.0, 20.0), 1.482, 0.002),
    ("1.482 sg60/60°F", (15.5555556, 15.5555556), 1.482, None),  # 60 °F = 140/9 °C
]


@pytest.mark.parametrize("text, basis, value, half", GRAVITY)
@pytest.mark.parametrize("kind", ["density", "specific_gravity"])
def test_specific_gravity_keeps_its_basis(text, basis, value, half, kind):
    found = parse(text, kind)
    assert found.kind == "specific_gravity"
    assert found.value == pytest.approx(value)
    assert found.basis == pytest.approx(basis)
    assert found.half_width == (None if half is None else pytest.approx(half))


# (text, kind, a part of the message)
REFUSED = [
    ("", "mass", "nothing is written"),
    ("   ", "mass", "nothing is written"),
    ("g", "mass", "no number"),
    ("nan g", "mass", "no number"),
    ("NaN", "mass", "no number"),
    ("inf kPa", "pressure", "no number"),
    ("-inf", "mass", "no number"),
    ("1e400 g", "mass", "too large"),
    ("1e999 °C", "temperature", "too large"),
    ("1e300 g", "mass", "too large"),
    ("1e-400 g", "mass", "too small"),
    ("9" * 150 + " g", "mass", "too large"),
    ("9" * 5000 + " g", "mass", "too long"),
    ("0x1F g", "mass", "not known"),
    ("1_480 g", "mass", "not known"),
    ("١٢ g", "mass", "no number"),  # Arabic-Indic digits
    ("10³ g", "mass", "not known"),
    ("1,480 g", "mass", "write 1.480 or 1480"),
    ("1,019 hPa", "pressure", "write 1.019 or 1019"),
    ("1,480 kg/m3", "density", "write 1.480 or 1480"),
    ("1 480 g", "mass", "thousands"),
    ("1\u202f480 g", "mass", "thousands"),
    ("1'480 g", "mass", "thousands"),
    ("1,480,000 g", "mass", "thousands"),
    ("1.480,5 g", "mass", "thousands"),
    ("1.2.3 g", "mass", "thousands"),
    ("12 13 g", "mass", "thousands"),
    ("60-61 °C", "temperature", "range"),
    ("60–61 °C", "temperature", "range"),
    ("60 to 61 °C", "temperature", "range"),
    ("12", "mass", "the unit is missing"),
    ("12 ± 1", "mass", "the unit is missing"),
    ("30 ± 10 %", "fraction", "per cent of what"),
    ("1.48 ± 0.1 %", "density", "the unit is missing"),
    ("30 %", "fraction", "per cent of what"),
    ("30 vol%", "fraction", "volume fraction"),
    ("30 mol%", "fraction", "mole fraction"),
    ("50 ppm", "fraction", "write mg/kg"),
    ("30 wt% ± 10 %", "fraction", "not in per cent"),
    ("61 °C ± 1 %", "temperature", "not in per cent"),
    ("98.6 kPa ± 0 kPa", "pressure", "above 0"),
    ("98.6 ± -0.4 kPa", "pressure", "above 0"),
    ("98.6 ± kPa", "pressure", "no number"),
    ("98.6 ± 0.4 ± 0.1 kPa", "pressure", "only one ±"),
    ("98.6 kPa ± 0.4 g", "pressure", "'g' is a unit of mass"),
    ("30 ± 130 wt%", "fraction", "larger than any value"),
    ("98.6(4) kPa", "pressure", "not known"),
    ("98.6 g", "pressure", "'g' is a unit of mass"),
    ("20 °C", "pressure", "'°C' is a unit of temperature"),
    ("1.48 g/mL", "mass", "'g/mL' is a unit of density"),
    ("1.482 sg20/20", "mass", "not known"),
    ("1.482 sg", "density", "sg20/20"),
    ("1.482 sg20", "density", "not known"),
    ("1.482 sg20/200", "density", "between 0 and 100"),
    ("1.482 sg20C/68F", "density", "in one unit"),
    ("5 psig", "pressure", "gauge"),
    ("5 gal", "volume", "US gal"),
    ("5 ML", "volume", "did you mean 'mL'"),
    ("5 G", "mass", "did you mean 'g'"),
    ("5 foo", "volume", "'foo' is not known"),
    ("-5 g", "mass", "not below 0"),
    ("-1 mL", "volume", "not below 0"),
    ("0 kPa", "pressure", "above 0"),
    ("-1 kPa", "pressure", "above 0"),
    ("0 g/mL", "density", "above 0"),
    ("1482 g/mL", "density", "not above 25 g/mL"),
    ("-273.15 °C", "temperature", "absolute zero"),
    ("-300 °C", "temperature", "absolute zero"),
    ("-460 °F", "temperature", "absolute zero"),
    ("-0.001 K", "temperature", "absolute zero"),
    ("100.1 wt%", "fraction", "not above 100 %"),
    ("-1 wt%", "fraction", "not below 0"),
    ("0.9", "refractive_index", "vacuum"),
    ("1.4 g", "refractive_index", "unit of mass"),
    ("14459", "refractive_index", "not above 5"),
    ("-5 min", "time", "not below 0"),
]


@pytest.mark.parametrize("text, kind, part", REFUSED)
def test_refuses_with_a_reason_and_what_is_accepted(text, kind, part):
    with pytest.raises(QuantityError) as caught:
        parse(text, kind)
    message = str(caught.value)
    assert part in message
    assert accepted_units(kind) in message
    assert "\n" not in message
    assert caught.value.faults[0].value == text


@pytest.mark.parametrize("value", [None, True, [1], {"a": 1}, b"1 g", 1 + 2j])
def test_refuses_what_is_neither_text_nor_number(value):
    with pytest.raises(QuantityError, match="as text or number"):
        parse(value, "mass")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, -1, -0.5])
def test_refuses_impossible_numbers(value):
    with pytest.raises(QuantityError):
        parse(value, "mass", default_unit="g")


def test_refuses_an_integer_that_python_will_not_write():
    with pytest.raises(QuantityError):
        parse(10**6000, "mass", default_unit="g")


def test_numbers_take_the_default_unit():
    assert parse(112.4, "mass", default_unit="g").value == pytest.approx(0.1124)
    assert parse(112, "mass", default_unit="g").text == "112"
    assert parse("112,4", "mass", default_unit="g").value == pytest.approx(0.1124)
    assert parse("112.4 ± 0.2", "mass", default_unit="g").half_width == pytest.approx(2e-4)
    assert parse("0.5 lb", "mass", default_unit="g").value == pytest.approx(0.226796185)
    assert parse("1.482", "density", default_unit="sg20/20").basis == (20.0, 20.0)
    with pytest.raises(QuantityError, match="unit is missing"):
        parse(112.4, "mass")


def test_known_decimal_comma_settles_the_doubt():
    assert parse("1,480 g", "mass", decimal_comma=True).value == pytest.approx(1.48e-3)


@pytest.mark.parametrize(
    "text, kind, digit",
    [
        ("48.4 g", "mass", 1e-4),
        ("48,400 g", "mass", 1e-6),
        ("48 g", "mass", 1e-3),
        ("23451.2 mg ± 1 mg", "mass", 1e-7),
        ("1.48 g/mL", "density", 10.0),
        ("61.2 °C", "temperature", 0.1),
        ("142 °F", "temperature", 5 / 9),
        ("1.482 sg20/20", "density", 0.001),
        ("1.5e3 g", "mass", 0.1),
    ],
)
def test_last_digit_is_what_was_typed(text, kind, digit):
    assert parse(text, kind, decimal_comma=True).last_digit == pytest.approx(digit, rel=1e-12)


def test_quantity_error_is_an_input_error():
    with pytest.raises(InputError):
        parse("x", "mass")


numbers = st.decimals(min_value=-2000, max_value=2000, places=4, allow_nan=False, allow_infinity=False)


@given(number=numbers)
def test_decimal_comma_is_the_decimal_point(number):
    """Four decimals: the comma cannot group thousands."""
    point = parse(f"{number:f}", "number")
    comma = parse(f"{number:f}".replace(".", ","), "number")
    assert point.value == comma.value == float(number)


@given(whole=st.integers(0, 999), thousandths=st.integers(0, 999))
def test_comma_before_three_digits_is_never_misread(whole, thousandths):
    """Either the decimal reading or a refusal; never the number without its comma."""
    text = f"{whole},{thousandths:03d} g"
    try:
        found = parse(text, "mass")
    except QuantityError:
        assert whole > 0
    else:
        assert found.value == pytest.approx((whole + thousandths / 1000) * 1e-3, rel=1e-12)


BENCH_ALPHABET = st.text(alphabet="0123456789.,+-±/ eEgkPamLHs°CFK%wt()x−\u00a0²³", max_size=24)


def check_safe(text, kind):
    try:
        found = parse(text, kind)
    except QuantityError:
        return
    assert isinstance(found, Quantity)
    assert math.isfinite(found.value)
    assert found.u is None or (math.isfinite(found.u) and found.u > 0)


@given(text=st.text(max_size=40), kind=st.sampled_from(KINDS))
@example(text="9" * 199, kind="number")
@example(text="1e-999", kind="number")
@example(text="\x00", kind="mass")
@example(text="1 g ± 1e-320 g", kind="mass")
def test_any_text_is_a_finite_quantity_or_a_quantity_error(text, kind):
    check_safe(text, kind)


@given(text=BENCH_ALPHABET, kind=st.sampled_from(KINDS))
def test_scrambled_bench_notation_is_safe(text, kind):
    check_safe(text, kind)


@given(value=st.one_of(st.floats(), st.integers()), kind=st.sampled_from(KINDS))
def test_any_number_is_safe(value, kind):
    check_safe(value, kind)
