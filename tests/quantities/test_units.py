"""Factors against scipy.constants and published definitions; round trips."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from fractionkit.quantities import KINDS, accepted_units, from_si, parse, to_si, unit_factor
from fractionkit.quantities.units import BY_SPELLING, KIND_TABLE

# (unit, kind, SI factor, source, relative tolerance: what the source's digits allow)
FACTORS = [
    ("atm", "pressure", constants.atm, "scipy.constants.atm", 1e-15),
    ("bar", "pressure", constants.bar, "scipy.constants.bar", 1e-15),
    ("Torr", "pressure", constants.torr, "scipy.constants.torr", 1e-15),
    ("psi", "pressure", constants.psi, "scipy.constants.psi", 1e-15),
    # scipy takes 1/760 atm for mmHg; the conventional millimetre of mercury is 1.4e-7 larger.
    ("mmHg", "pressure", constants.mmHg, "scipy.constants.mmHg", 1.5e-7),
    ("mmHg", "pressure", 133.3224, "NIST SP 811 (2008) appendix B.8, mmHg conventional", 4e-7),
    ("inHg", "pressure", 3386.389, "NIST SP 811 (2008) appendix B.8, inHg conventional", 2e-7),
    ("psi", "pressure", 6894.757, "NIST SP 811 (2008) appendix B.8, pound-force per square inch", 1e-7),
    ("lb", "mass", constants.lb, "scipy.constants.lb", 1e-15),
    ("oz", "mass", constants.oz, "scipy.constants.oz", 1e-15),
    ("mg", "mass", 1e-6, "SI prefix", 1e-15),
    ("ft", "length", constants.foot, "scipy.constants.foot", 1e-15),
    ("in", "length", constants.inch, "scipy.constants.inch", 1e-15),
    ("L", "volume", constants.liter, "scipy.constants.liter", 1e-15),
    ("µL", "volume", constants.liter * constants.micro, "scipy.constants", 1e-15),
    ("US gal", "volume", constants.gallon_US, "scipy.constants.gallon_US", 1e-15),
    ("imp gal", "volume", constants.gallon_imp, "scipy.constants.gallon_imp", 1e-15),
    ("US fl oz", "volume", constants.fluid_ounce_US, "scipy.constants.fluid_ounce_US", 1e-15),
    ("US qt", "volume", 9.463529e-4, "NIST SP 811 (2008) appendix B.8, liquid quart (U.S.)", 2e-7),
    ("lb/US gal", "density", 119.8264, "NIST SP 811 (2008) appendix B.8, pound per gallon (U.S.)", 5e-7),
    ("g/mL", "density", constants.gram / constants.milli / constants.liter, "scipy.constants", 1e-15),
    ("kg/m3", "density", 1.0, "SI", 1e-15),
    ("kcal", "energy", constants.kilo * constants.calorie, "scipy.constants.calorie", 1e-15),
    ("kWh", "energy", constants.kilo * constants.hour, "scipy.constants.hour", 1e-15),
    ("min", "time", constants.minute, "scipy.constants.minute", 1e-15),
    ("h", "time", constants.hour, "scipy.constants.hour", 1e-15),
    ("mL/min", "flow", constants.milli * constants.liter / constants.minute, "scipy.constants", 1e-15),
    ("g/h", "mass_flow", constants.gram / constants.hour, "scipy.constants", 1e-15),
]


@pytest.mark.parametrize("unit, kind, factor, source, tolerance", FACTORS)
def test_factor_is_the_published_one(unit, kind, factor, source, tolerance):
    assert unit_factor(unit, kind) == pytest.approx(factor, rel=tolerance, abs=0), source


@pytest.mark.parametrize("degrees", [-40.0, 0.0, 37.0, 61.2, 76.7, 100.0])
@pytest.mark.parametrize("unit, scale", [("°C", "Celsius"), ("°F", "Fahrenheit"), ("K", "Kelvin")])
def test_temperatures_agree_with_scipy(degrees, unit, scale):
    kelvin = degrees + 273.15
    shown = constants.convert_temperature(kelvin, "Kelvin", scale)
    assert from_si(kelvin, "temperature", unit) == pytest.approx(shown, abs=1e-10)
    assert to_si(shown, "temperature", unit) == pytest.approx(kelvin, abs=1e-10)


def test_arrays_keep_their_shape():
    kelvin = np.array([[300.0, 310.0], [320.0, 350.0]])
    celsius = from_si(kelvin, "temperature", "°C")
    np.testing.assert_allclose(celsius, kelvin - 273.15, rtol=0, atol=1e-12)
    np.testing.assert_allclose(to_si(celsius, "temperature", "°C"), kelvin, rtol=0, atol=1e-12)


UNITS = [(kind, spelling) for kind in KINDS for spelling in BY_SPELLING[kind]]


@pytest.mark.parametrize("kind, spelling", UNITS)
@settings(max_examples=15)
@given(share=st.floats(0.001, 0.999))
def test_round_trip_of_every_spelling(kind, spelling, share):
    """A number inside the kind's bounds, written with each spelling, comes back through from_si."""
    table = KIND_TABLE[kind]
    top = min(table.high, table.bench)
    si = table.low + share * (top - table.low) if not table.signed else (2 * share - 1) * top
    number = from_si(si, kind, spelling)
    read = parse(f"{number!r} {spelling}", kind)
    assert from_si(read.value, kind, spelling) == pytest.approx(number, rel=1e-12, abs=1e-9)
    assert read.kind == kind


@pytest.mark.parametrize("kind", KINDS)
def test_every_unit_is_named_in_messages(kind):
    for unit in KIND_TABLE[kind].units:
        assert (unit.symbol or "no unit") in accepted_units(kind)
    assert parse(KIND_TABLE[kind].example, kind).kind == kind


def test_import_is_light():
    code = (
        "import sys, fractionkit.quantities; "
        "print([m for m in ('scipy', 'numpy', 'pandas', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
