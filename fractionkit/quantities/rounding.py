"""Figures as text, rounded to their uncertainty: two significant digits of the 95 % half-width.

Two significant digits of the uncertainty are the custom of the Guide to the Expression of Uncertainty in Measurement
(JCGM 100:2008, 7.2.6). Ends of an interval are rounded outward, so that the text still covers 95 %; onto 0 or 100 % only
where one decimal more would not keep them off. An estimate lands there only within ``RESOLUTION`` of it.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from fractionkit.quantities.quantity import COVERAGE_95
from fractionkit.quantities.units import DIFFERENCE_KIND, from_si, unit_factor

RESOLUTION = 1e-6
"""Mass fraction below which a remainder is not told from none: 1 mg/kg, far below what density or boiling tell."""

UNKNOWN = "–"
"""Shown where there is no figure (not finite)."""

HEAVY = 10.0
"""Kilograms from which a mass is told in kg: no balance that carries so much shows tenths of a gram."""

_FRACTIONS = {"fraction": "wt%", "mole_fraction": "mol%", "volume_fraction": "vol%", "probability": "%"}
_DEFAULT_UNITS = {
    "pressure": "kPa", "temperature": "°C", "temperature_difference": "K", "volume": "mL",
    "density": "g/mL", "density_difference": "g/mL", "length": "m", "refractive_index": "", "number": "",
    "specific_gravity": "", "time": "min", "power": "W", "energy": "kJ", "flow": "mL/min", "mass_flow": "g/min",
}  # fmt: skip
_MOST_DECIMALS = 12


def decimals_of(half_width: float) -> int:
    """Decimals that show ``half_width`` to two significant digits (never negative: whole numbers stay whole)."""
    if not (math.isfinite(half_width) and half_width > 0):
        return 0
    # 9.96 shows as 10, which already has two digits: round first, then count.
    exponent = int(f"{half_width:.1e}".partition("e")[2])
    return min(max(1 - exponent, 0), _MOST_DECIMALS)


def format_value(value: float, u: float | None = None) -> str:
    """Write a number to the digits that its standard uncertainty ``u`` supports.

    Without an uncertainty, or with one that is zero, six significant digits are shown.
    """
    if not math.isfinite(value):
        return UNKNOWN
    if u is None or not (math.isfinite(u) and u > 0):
        return _plain(f"{value:.6g}")
    return _rounded(value, decimals_of(COVERAGE_95 * u))


def format_with_half_width(value: float, u: float | None, kind: str, unit: str | None = None) -> str:
    """Write an SI value in a bench unit: "98.60 ± 0.40 kPa"; ``u`` is its SI standard uncertainty or None."""
    name = _unit_of(kind, unit, value)
    shown = _convert(value, kind, name)
    if u is None or not (math.isfinite(u) and u > 0) or not math.isfinite(shown):
        return f"{format_value(shown)} {name}".rstrip()
    size = unit_factor(name, DIFFERENCE_KIND.get(kind, kind)) if kind != "specific_gravity" else 1.0
    half = COVERAGE_95 * u / size
    decimals = decimals_of(half)
    return f"{_rounded(shown, decimals)} ± {_rounded(half, decimals, ROUND_CEILING)} {name}".rstrip()


def format_interval(estimate: float, low: float, high: float, kind: str = "fraction", unit: str | None = None) -> str:
    """Write "estimate (low–high) unit", the one text of an interval in tables and reports.

    Parameters
    ----------
    estimate, low, high : float
        SI values, ``low <= high``; fractions are 0–1 and are clipped there.
    kind : str
        One of ``KINDS``; a fraction is shown in wt%.
    unit : str, optional
        Bench unit; by default the usual one of the kind, for a mass that of `mass_scale`.

    Returns
    -------
    str
        ``"30.1 (19.5–40.8) wt%"``. A fraction that is not told from none is ``"< 0.05 wt%"``, one not told from
        all ``"> 99.95 wt%"``. ``"–"`` when a figure is not finite.

    """
    if not all(math.isfinite(figure) for figure in (estimate, low, high)):
        return UNKNOWN
    name = _unit_of(kind, unit, estimate)
    if kind in _FRACTIONS:
        return _fraction_interval(_clip(estimate), _clip(low), _clip(high), kind, name)
    shown = [_convert(figure, kind, name) for figure in (estimate, low, high)]
    half = (shown[2] - shown[1]) / 2
    if not half > 0:
        return f"{format_value(shown[0])} {name}".rstrip()
    decimals = decimals_of(half)
    ends = f"{_rounded(shown[1], decimals, ROUND_FLOOR)}–{_rounded(shown[2], decimals, ROUND_CEILING)}"
    return f"{_rounded(shown[0], decimals)} ({ends}) {name}".rstrip()


def format_typed(share: float, unit: str = "wt%") -> str:
    """Write a share that a person chose, as it was typed: "99.5 wt%"; six digits, or 99.999 would read 100."""
    return f"{100 * share:.6g} {unit}"


def format_floor(fraction: float) -> str:
    """Write a lower bound of a mass fraction, never rounded up: tenths of a per cent, hundredths above 99."""
    digits = 2 if fraction > 0.99 else 1
    return f"{math.floor(100 * fraction * 10**digits + 1e-9) / 10**digits:.{digits}f} wt%"


def format_probability(probability: float | None, *, spoken: bool = False) -> str:
    """Write a probability in per cent, cut off after a tenth and never rounded up: 0.9496 must not read 95 %.

    ``"< 0.1 %"`` and ``"> 99.9 %"`` at the ends, since nothing computed is impossible or certain; with ``spoken``, inside
    a sentence, "below 0.1 %" and "over 99.9 %". ``"–"`` for None and for what is not finite.
    """
    if probability is None or not math.isfinite(probability):
        return UNKNOWN
    if probability < 0.001:
        return "below 0.1 %" if spoken else "< 0.1 %"
    if probability > 0.999:
        return "over 99.9 %" if spoken else "> 99.9 %"
    return f"{math.floor(1000 * probability + 1e-9) / 10:.1f} %"


def mass_scale(largest: float) -> tuple[str, float]:
    """Unit in which masses up to ``largest`` kg are told, and what makes it of kilograms."""
    return ("kg", 1.0) if abs(largest) >= HEAVY else ("g", 1e3)


def format_mass(mass: float | None, *, unit: bool = True) -> str:
    """Write a mass of kg as "174.3 g", to the resolution of a bench balance, or "12.40 kg", to that of a platform scale.

    Without ``unit``, under a heading that says g, only a mass in kg carries its unit. ``"–"`` where there is none.
    """
    if mass is None or not math.isfinite(mass):
        return UNKNOWN
    name, factor = mass_scale(mass)
    if name == "kg":
        return f"{mass:.2f} kg"
    return f"{factor * mass:.1f}" + (" g" if unit else "")


def _fraction_interval(estimate: float, low: float, high: float, kind: str, unit: str) -> str:
    """One-sided text near the ends, two-sided text elsewhere, never onto 0 or 100 % unless that is honest."""
    size = unit_factor(unit, kind)
    whole = 1.0 / size
    if high <= 5e-3 and low <= max(RESOLUTION, 0.01 * high):
        return f"< {_two_digits(max(high, RESOLUTION) * whole)} {unit}"
    if low >= 1 - 5e-3 and 1 - high <= max(RESOLUTION, 0.01 * (1 - low)):
        return f"> {_complement(_two_digits(max(1 - low, RESOLUTION) * whole), whole)} {unit}"
    decimals = decimals_of((high - low) / 2 * whole) if high > low else 4
    texts = (
        _inside(estimate, whole, decimals, ROUND_HALF_EVEN),
        _end(low, whole, decimals, ROUND_FLOOR),
        _end(high, whole, decimals, ROUND_CEILING),
    )
    if not high > low:
        return f"{texts[0]} {unit}"
    return f"{texts[0]} ({texts[1]}–{texts[2]}) {unit}"


def _clip(fraction: float) -> float:
    """Rounding errors of a computation may leave 0–1 by a hair."""
    return min(max(fraction, 0.0), 1.0)


def _inside(fraction: float, whole: float, decimals: int, mode: str) -> str:
    """Round a fraction, adding decimals until it does not land on an end that it excludes."""
    while True:
        text = _rounded(fraction * whole, decimals, mode)
        at_zero = Decimal(text) == 0 and fraction > RESOLUTION
        at_one = Decimal(text) >= Decimal(repr(whole)) and fraction < 1 - RESOLUTION
        if not (at_zero or at_one) or decimals >= _MOST_DECIMALS:
            return text
        decimals += 1


def _end(fraction: float, whole: float, decimals: int, mode: str) -> str:
    """Round an end of an interval outward: one decimal more where it would land on 0 or 100 %, there if it still does."""
    finer = _inside(fraction, whole, decimals, mode)
    return finer if len(finer.partition(".")[2]) <= decimals + 1 else _rounded(fraction * whole, decimals, mode)


def _two_digits(figure: float) -> str:
    """Two significant digits, rounded up, without an exponent and without a trailing zero: 0.05, 0.012."""
    text = _rounded(figure, decimals_of(figure), ROUND_CEILING)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _complement(text: str, whole: float) -> str:
    return f"{Decimal(repr(whole)) - Decimal(text):f}"


def _unit_of(kind: str, unit: str | None, value: float) -> str:
    if unit is not None:
        return unit
    if kind in ("mass", "mass_difference"):
        return mass_scale(value)[0]
    return _FRACTIONS.get(kind) or _DEFAULT_UNITS[kind]


def _convert(value: float, kind: str, unit: str) -> float:
    return value if kind == "specific_gravity" else from_si(value, kind, unit)


def _rounded(value: float, decimals: int, mode: str = ROUND_HALF_EVEN) -> str:
    """Round in decimal. Twelve digits first, so that 30.000000000000004 is not carried up to 31."""
    exact = Decimal(f"{value:.12g}")
    return _plain(f"{exact.quantize(Decimal(1).scaleb(-decimals), rounding=mode):f}")


def _plain(text: str) -> str:
    """No negative zero."""
    return text.removeprefix("-") if text.startswith("-") and not text.strip("-0.") else text
