"""The whitelist: kinds of quantity, the units each accepts, their factors to SI, the bounds of each kind.

Factors are exact by definition (international foot and pound of 1959, standard gravity, standard atmosphere,
thermochemical calorie: NIST Special Publication 811 (2008), appendix B, and scipy.constants, with which the
tests compare them). They are written out so that reading a run sheet does not import scipy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, overload

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

POUND = 0.45359237  # kg, international avoirdupois pound, exact
INCH = 0.0254  # m, exact
STANDARD_GRAVITY = 9.80665  # m/s2, exact
ATMOSPHERE = 101325.0  # Pa, exact
# Conventional millimetre of mercury: 13 595.1 kg/m3 at standard gravity (NIST SP 811 prints 1.333224E+02 Pa).
MERCURY_MM = 13595.1 * STANDARD_GRAVITY * 1e-3
US_GALLON = 231 * INCH**3  # m3, exact
IMPERIAL_GALLON = 4.54609e-3  # m3, exact


@dataclass(frozen=True)
class Unit:
    """One accepted unit: SI value = (number + shift) * factor."""

    symbol: str
    factor: float
    aliases: tuple[str, ...] = ()
    shift: float = 0.0


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    ``low`` and ``high`` (SI) are what is physically possible; ``low_included`` says whether ``low`` itself
    is. ``bench`` (SI) is more than any instrument of a distilling bench shows; it only decides whether a
    comma before three digits can be a thousands separator at all. ``bare`` kinds need no unit, ``signed``
    ones may be negative.
    """

    name: str
    title: str
    units: tuple[Unit, ...]
    low: float
    high: float
    bench: float
    example: str
    low_included: bool = True
    low_text: str = "0"
    high_text: str = ""
    bare: bool = False
    signed: bool = False


_PRESSURE = (
    Unit("kPa", 1e3, ("kpa", "KPa", "Kpa", "kPA")),
    Unit("hPa", 1e2, ("hpa", "HPa")),
    Unit("mbar", 1e2, ("mb", "millibar")),
    Unit("mmHg", MERCURY_MM, ("mm Hg", "mmhg", "MMHG", "mm hg")),
    Unit("Torr", ATMOSPHERE / 760, ("torr", "TORR")),
    Unit("inHg", MERCURY_MM * 25.4, ("in Hg", "inhg", "inHG", '"Hg')),
    Unit("bar", 1e5, ()),
    Unit("atm", ATMOSPHERE, ()),
    Unit("psi", POUND * STANDARD_GRAVITY / INCH**2, ("PSI", "psia", "lbf/in2")),
    Unit("Pa", 1.0, ()),
    Unit("MPa", 1e6, ()),
)
_TEMPERATURE = (
    Unit("°C", 1.0, ("C", "degC", "deg C", "oC", "Celsius", "celsius"), shift=273.15),
    Unit("°F", 5 / 9, ("F", "degF", "deg F", "oF", "Fahrenheit", "fahrenheit"), shift=459.67),
    Unit("K", 1.0, ("kelvin", "Kelvin")),
)
_TEMPERATURE_DIFFERENCE = (
    *(Unit(unit.symbol, unit.factor, unit.aliases) for unit in _TEMPERATURE),
    Unit("mK", 1e-3),
)
_MASS = (
    Unit("g", 1e-3, ("gram", "grams", "gm")),
    Unit("kg", 1.0, ("Kg", "KG")),
    Unit("mg", 1e-6),
    Unit("lb", POUND, ("lbs", "pound", "pounds")),
    Unit("oz", POUND / 16, ("ounce", "ounces")),
)
_VOLUME = (
    Unit("mL", 1e-6, ("ml", "cc", "cm3", "cm^3")),
    Unit("L", 1e-3, ("l", "litre", "liter", "litres", "liters", "dm3", "dm^3")),
    Unit("µL", 1e-9, ("ul", "uL")),
    Unit("cL", 1e-5, ("cl",)),
    Unit("m3", 1.0, ("m^3",)),
    Unit("US fl oz", US_GALLON / 128),
    Unit("US qt", US_GALLON / 4),
    Unit("US gal", US_GALLON),
    Unit("imp gal", IMPERIAL_GALLON),
)
_DENSITY = (
    Unit("g/mL", 1e3, ("g/ml", "g/cc", "g mL-1", "g ml-1")),
    Unit("g/cm3", 1e3, ("g/cm^3", "g cm-3")),
    Unit("kg/L", 1e3, ("kg/l", "kg/dm3", "kg L-1")),
    Unit("kg/m3", 1.0, ("kg/m^3", "kg m-3")),
    Unit("g/L", 1.0, ("g/l", "g L-1")),
    Unit("lb/US gal", POUND / US_GALLON),
)
_LENGTH = (
    Unit("m", 1.0, ("metre", "meter", "metres", "meters")),
    Unit("mm", 1e-3),
    Unit("cm", 1e-2),
    Unit("km", 1e3),
    Unit("ft", 12 * INCH, ("feet", "foot")),
    Unit("in", INCH, ("inch", "inches")),
)
_MASS_FRACTION = (
    Unit("wt%", 1e-2, ("wt.%", "mass%", "w%", "%w/w", "% w/w", "%(w/w)", "% (w/w)", "w/w%", "w/w %")),
    Unit("g/g", 1.0, ("kg/kg",)),
    Unit("g/kg", 1e-3),
    Unit("mg/kg", 1e-6, ("ppmw", "wtppm", "wt ppm", "mg/Kg")),
)
_MOLE_FRACTION = (Unit("mol%", 1e-2, ("mole%", "mol.%")), Unit("mol/mol", 1.0))
_BY_VOLUME = (Unit("vol%", 1e-2, ("vol.%", "%v/v", "% v/v", "%(v/v)", "% (v/v)")), Unit("mL/mL", 1.0))
_TIME = (
    Unit("s", 1.0, ("sec", "second", "seconds")),
    Unit("min", 60.0, ("minute", "minutes")),
    Unit("h", 3600.0, ("hr", "hour", "hours")),
    Unit("d", 86400.0, ("day", "days")),
)
_POWER = (Unit("W", 1.0, ("watt", "watts")), Unit("kW", 1e3))
_ENERGY = (
    Unit("kJ", 1e3),
    Unit("J", 1.0),
    Unit("MJ", 1e6),
    Unit("Wh", 3.6e3),
    Unit("kWh", 3.6e6),
    Unit("kcal", 4184.0),
)
_FLOW = (
    Unit("mL/min", 1e-6 / 60, ("ml/min",)),
    Unit("mL/h", 1e-6 / 3600, ("ml/h",)),
    Unit("L/h", 1e-3 / 3600, ("l/h",)),
    Unit("L/min", 1e-3 / 60, ("l/min",)),
)
_MASS_FLOW = (Unit("g/min", 1e-3 / 60), Unit("g/h", 1e-3 / 3600), Unit("kg/h", 1 / 3600))
_INDEX = (Unit("", 1.0, ("nD", "n", "RI")),)
_PURE = (Unit("", 1.0),)
_PROBABILITY = (Unit("", 1.0), Unit("%", 1e-2))

# 25 g/mL: nothing is denser than osmium (22.6 g/mL). Index: 1 is a vacuum, 5 above every known liquid.
_ALL = "100 %"
KIND_TABLE: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("pressure", "a pressure", _PRESSURE, 0.0, 1e12, 1e7, "98.6 kPa", low_included=False),
        Kind(
            "pressure_difference", "a difference of pressure", _PRESSURE,
            -1e12, 1e12, 1e7, "-2 hPa", signed=True,
        ),
        Kind(
            "temperature", "a temperature", _TEMPERATURE, 0.0, 1e9, 1e4, "61.2 °C",
            low_included=False, low_text="absolute zero (-273.15 °C)",
        ),
        Kind(
            "temperature_difference", "a difference of temperature", _TEMPERATURE_DIFFERENCE,
            -1e9, 1e9, 1e3, "0.8 °C", signed=True,
        ),
        Kind("mass", "a mass", _MASS, 0.0, 1e9, 1e4, "112.4 g"),
        Kind("mass_difference", "a difference of mass", _MASS, -1e9, 1e9, 1e4, "-0.02 g", signed=True),
        Kind("volume", "a volume", _VOLUME, 0.0, 1e9, 1e1, "75 mL"),
        Kind(
            "density", "a density", _DENSITY, 0.0, 25e3, 25e3, "1.482 g/mL",
            low_included=False, high_text="25 g/mL, denser than any metal",
        ),
        Kind(
            "density_difference", "a difference of density", _DENSITY,
            -25e3, 25e3, 25e3, "0.0008 g/mL", signed=True,
        ),
        Kind(
            "specific_gravity", "a specific gravity", (), 0.0, 25.0, 25.0, "1.482 sg20/20",
            low_included=False, high_text="25, denser than any metal",
        ),
        Kind("length", "a length", _LENGTH, -1e7, 1e7, 1e4, "640 m", signed=True),
        Kind("fraction", "a mass fraction", _MASS_FRACTION, 0.0, 1.0, 1.0, "30 ± 10 wt%", high_text=_ALL),
        Kind("mole_fraction", "a mole fraction", _MOLE_FRACTION, 0.0, 1.0, 1.0, "30 mol%", high_text=_ALL),
        Kind("volume_fraction", "a volume fraction", _BY_VOLUME, 0.0, 1.0, 1.0, "5 vol%", high_text=_ALL),
        Kind("probability", "a probability", _PROBABILITY, 0.0, 1.0, 1.0, "95 %", high_text=_ALL, bare=True),
        Kind(
            "refractive_index", "a refractive index", _INDEX, 1.0, 5.0, 5.0, "1.4459",
            low_text="1, that of a vacuum", high_text="5", bare=True,
        ),
        Kind(
            "refractive_index_difference", "a difference of refractive index", _INDEX,
            -5.0, 5.0, 5.0, "0.0003", bare=True, signed=True,
        ),
        Kind("number", "a plain number", _PURE, -1e12, 1e12, 1e12, "5", bare=True, signed=True),
        Kind("time", "a time", _TIME, 0.0, 1e12, 1e9, "45 min"),
        Kind("power", "a power", _POWER, 0.0, 1e12, 1e6, "250 W"),
        Kind("energy", "an energy", _ENERGY, 0.0, 1e15, 1e10, "120 kJ"),
        Kind("flow", "a volume flow", _FLOW, 0.0, 1e6, 1e-1, "4 mL/min"),
        Kind("mass_flow", "a mass flow", _MASS_FLOW, 0.0, 1e9, 1e2, "6 g/min"),
    )
}  # fmt: skip
KINDS: tuple[str, ...] = tuple(KIND_TABLE)

# Kinds written in per cent themselves: there "± 10 %" would not say whether points or a share of the value are meant.
PER_CENT_KINDS = ("fraction", "mole_fraction", "volume_fraction", "probability")

# Half-widths of a kind are differences of it; units of the other kinds have no offset and serve themselves.
DIFFERENCE_KIND = {"temperature": "temperature_difference"}

BY_SPELLING: dict[str, dict[str, Unit]] = {
    kind.name: {spelling: unit for unit in kind.units for spelling in (unit.symbol, *unit.aliases)}
    for kind in KIND_TABLE.values()
}

# Spellings that a careful reader cannot settle: refused, with what to write instead.
AMBIGUOUS: dict[str, str] = {
    "%": "per cent of what is not said: write wt%, mol% or vol%",
    "ppm": "parts per million of what is not said: write mg/kg for a mass fraction",
    "fl oz": "US and imperial fluid ounces differ: write US fl oz or mL",
    "gal": "US and imperial gallons differ: write US gal, imp gal or L",
    "gallon": "US and imperial gallons differ: write US gal, imp gal or L",
    "qt": "US and imperial quarts differ: write US qt or L",
    "psig": "a gauge pressure depends on the day's pressure: write the absolute pressure in psi",
    "barg": "a gauge pressure depends on the day's pressure: write the absolute pressure in bar",
    "sg": "a specific gravity needs its basis, sample/water in °C: write 1.482 sg20/20",
    "SG": "a specific gravity needs its basis, sample/water in °C: write 1.482 sg20/20",
    "M": "M may be molar or mega: write the unit out",
}


def find_unit(symbol: str, kind: str) -> Unit:
    """Return the unit of ``kind`` spelt ``symbol``; KeyError when the programmer asks for an unlisted one."""
    return BY_SPELLING[kind][symbol]


def unit_factor(symbol: str, kind: str) -> float:
    """SI units in one ``symbol`` of ``kind``; of a temperature, the size of the degree without its offset."""
    return find_unit(symbol, kind).factor


def accepted_units(kind: str) -> str:
    """Return the accepted units of a kind, for messages: ``"kPa, hPa, mbar, …"``."""
    if kind == "specific_gravity":
        return "sg20/20, sg25/25, sg20/4 (sample/water temperature in °C), sg60/60F"
    units = ", ".join(unit.symbol or "no unit" for unit in KIND_TABLE[kind].units)
    return f"{units}, or sg20/20" if kind == "density" else units


@overload
def from_si(value: float, kind: str, unit: str) -> float: ...
@overload
def from_si(value: npt.NDArray[np.float64], kind: str, unit: str) -> npt.NDArray[np.float64]: ...
def from_si(value: float | npt.NDArray[np.float64], kind: str, unit: str) -> float | npt.NDArray[np.float64]:
    """Convert from SI to ``unit``: a number or an array of any shape."""
    found = find_unit(unit, kind)
    return value / found.factor - found.shift


@overload
def to_si(value: float, kind: str, unit: str) -> float: ...
@overload
def to_si(value: npt.NDArray[np.float64], kind: str, unit: str) -> npt.NDArray[np.float64]: ...
def to_si(value: float | npt.NDArray[np.float64], kind: str, unit: str) -> float | npt.NDArray[np.float64]:
    """Convert from ``unit`` to SI: a number or an array of any shape; bounds are left to ``parse``."""
    found = find_unit(unit, kind)
    return (value + found.shift) * found.factor
