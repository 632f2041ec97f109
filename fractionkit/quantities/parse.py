"""Bench notation to SI: ``parse("98.6 ± 0.4 kPa", "pressure")``. A strict whitelist; the unknown is refused.

The rule for commas: a comma is a decimal comma, "61,2 °C" is 61.2 °C. Before exactly three digits ("1,480 g")
it could also group thousands. There it is read as decimal when it cannot group (a leading zero, more than
three digits before it) or when the grouped number is beyond any bench instrument of that kind ("1,480 g/mL":
no liquid weighs 1480 g/mL; "101,325 kPa"). Otherwise it is refused with both readings told, unless the caller
knows the decimal mark of the file (``decimal_comma=True``). A point is always decimal. Groups are refused.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from numbers import Real

from fractionkit.errors import Fault, QuantityError
from fractionkit.quantities.notation import (
    GRAVITY,
    GROUPED,
    MAX_LENGTH,
    NUMBER_THEN_UNIT,
    PLUS_MINUS,
    flatten,
    normal_unit,
    without_brackets,
)
from fractionkit.quantities.quantity import COVERAGE_95, Quantity
from fractionkit.quantities.units import (
    AMBIGUOUS,
    BY_SPELLING,
    DIFFERENCE_KIND,
    KIND_TABLE,
    PER_CENT_KINDS,
    Kind,
    Unit,
    accepted_units,
)


@dataclass(frozen=True)
class _Request:
    """What is being read: text as typed, the kind wanted, how commas count; it makes the faults."""

    text: str
    kind: Kind
    default_unit: str | None
    decimal_comma: bool

    def fault(self, reason: str) -> QuantityError:
        return QuantityError(Fault(self.text, reason))

    def wanted(self) -> str:
        units = accepted_units(self.kind.name)
        return f"{self.kind.title} such as {self.kind.example!r} (accepted: {units})"


def parse(
    text: str | float,
    kind: str,
    *,
    default_unit: str | None = None,
    decimal_comma: bool = False,
) -> Quantity:
    """Read one quantity in bench notation.

    Parameters
    ----------
    text : str or float
        What was typed: a number, an optional "± half-width" (95 %), a unit.
    kind : str
        One of ``KINDS``. "density" also takes a specific gravity with its basis, ``"1.482 sg20/20"``.
    default_unit : str, optional
        Unit of a number without one; None means that a unit must be written.
    decimal_comma : bool
        True when the file is known to use decimal commas, so that "1,480 g" is 1.48 g.

    Raises
    ------
    QuantityError
        The text is no such quantity, or is physically impossible; the message says what is accepted.

    """
    request = _Request(_as_text(text, kind), KIND_TABLE[kind], default_unit, decimal_comma)
    flat = flatten(request.text)
    if not flat:
        raise QuantityError(Fault(request.text, f"{request.wanted()}; nothing is written"))
    if len(flat) > MAX_LENGTH:
        raise request.fault(f"{request.wanted()}; this is too long to be one reading")
    halves = PLUS_MINUS.split(without_brackets(flat))
    if len(halves) > 2:
        raise request.fault(f"{request.wanted()}; only one ± is understood")
    number, unit_text = _number_and_unit(request, halves[0].strip())
    spread: str | None = None
    spread_unit = ""
    if len(halves) == 2:
        spread, spread_unit = _number_and_unit(request, halves[1].strip())
        if not unit_text and (spread_unit != "%" or kind in PER_CENT_KINDS):
            unit_text, spread_unit = spread_unit, ""  # "98.6 ± 0.4 kPa": one unit for both
    gravity = _gravity_basis(request, unit_text or default_unit or "")
    if gravity is not None:
        return _specific_gravity(request, number, spread, spread_unit, gravity)
    unit = _find(request, unit_text, request.kind.name)
    value = _to_si(request, number, unit)
    _check_bounds(request, value)
    u = None if spread is None else _half_width(request, spread, spread_unit, unit, value) / COVERAGE_95
    return Quantity(value, u, kind, request.text, None, _last_digit(number, unit))


def _as_text(value: object, kind: str) -> str:
    """Turn what a file or caller hands over into text; refuse what is neither text nor number."""
    if isinstance(value, str):
        return value
    if isinstance(value, Real) and not isinstance(value, bool):
        try:
            return str(value) if isinstance(value, int) else repr(float(value))
        except (
            OverflowError,
            ValueError,
        ):  # ValueError: Python refuses to write integers of thousands of digits
            return "1e999"
    title, example = KIND_TABLE[kind].title, KIND_TABLE[kind].example
    raise QuantityError(Fault(str(value), f"{title} as text or number, such as {example!r}"))


def _number_and_unit(request: _Request, piece: str) -> tuple[str, str]:
    """Split "98.6 kPa" into number and unit text; refuse groups, ranges, second numbers and non-numbers."""
    found = NUMBER_THEN_UNIT.fullmatch(piece)
    if found is None:
        raise request.fault(f"{request.wanted()}; no number stands where one should")
    number, unit_text = found[1], found[2].strip()
    if re.match(r"[-–—] ?[0-9]|to [0-9]", unit_text):
        raise request.fault(f"{request.wanted()}; one value, not a range")
    if re.match(r"[0-9.,'’]", unit_text):
        raise request.fault(f"{request.wanted()}; one number without thousands separators (1480 or 1480.5, not 1 480)")
    return number, unit_text


def _find(request: _Request, unit_text: str, kind: str) -> Unit:
    """Return the unit, or say which kind of unit was written instead, or that it is unknown."""
    name = normal_unit(unit_text)
    spellings = BY_SPELLING[kind]
    if not name and "" not in spellings:
        if request.default_unit is not None:
            return spellings[request.default_unit]
        raise request.fault(f"{request.wanted()}; the unit is missing")
    if not name and request.default_unit is not None:
        name = request.default_unit
    if name == "uL" and "µL" in spellings:
        name = "µL"
    if name in spellings:
        return spellings[name]
    if name in AMBIGUOUS:
        raise request.fault(f"{request.wanted()}; {AMBIGUOUS[name]}")
    others = [KIND_TABLE[other].title for other, units in BY_SPELLING.items() if name and name in units]
    if others:
        raise request.fault(
            f"{request.wanted()}; {name!r} is a unit of {others[0].removeprefix('a ').removeprefix('an ')}"
        )
    near = [spelling for spelling in spellings if spelling.lower() == name.lower()]
    hint = f"; did you mean {near[0]!r}?" if near else f"; the unit {name[:20]!r} is not known here"
    raise request.fault(request.wanted() + hint)


def _to_si(request: _Request, number: str, unit: Unit) -> float:
    """Turn digits into SI, settling the comma; refuse non-finite and vanishing results."""
    plain = Decimal(number.replace(",", "."))
    # Decimal, so that "95 %" is 0.95 and "61.2 °C" 334.35 K to the last bit, not one unit beside it.
    value = float((plain + Decimal(repr(unit.shift))) * Decimal(repr(unit.factor)))
    if not math.isfinite(value):
        raise request.fault(f"{request.wanted()}; the number is too large")
    if value == 0.0 and plain and not unit.shift:
        raise request.fault(f"{request.wanted()}; the number is too small to be told from 0")
    if GROUPED.fullmatch(number) and not request.decimal_comma:
        grouped = float(number.replace(",", ""))
        if abs((grouped + unit.shift) * unit.factor) <= request.kind.bench:
            raise request.fault(
                f"{request.wanted()}; the comma may be decimal or a thousands separator: "
                f"write {number.replace(',', '.')} or {number.replace(',', '')}"
            )
    return value


def _last_digit(number: str, unit: Unit) -> float:
    """SI size of the last digit of a number as typed."""
    exponent = Decimal(number.replace(",", ".")).as_tuple().exponent
    return float(Decimal(1).scaleb(int(exponent)) * Decimal(repr(unit.factor)))


def _check_bounds(request: _Request, value: float) -> None:
    """Refuse what cannot exist: below absolute zero, negative mass, fractions outside 0–100 %."""
    kind = request.kind
    if value < kind.low or (value == kind.low and not kind.low_included):
        if kind.signed:
            raise request.fault(f"{request.wanted()}; the number is too large")
        limit = "not below" if kind.low_included else "above"
        raise request.fault(f"{request.wanted()}, {limit} {kind.low_text}")
    if value > kind.high:
        above = f", not above {kind.high_text}" if kind.high_text else "; the number is too large"
        raise request.fault(request.wanted() + above)


def _half_width(request: _Request, number: str, unit_text: str, unit: Unit, value: float) -> float:
    """SI half-width after "±": in the value's unit, in its own, or in per cent of the value."""
    kind = request.kind
    if unit_text == "%":
        if kind.name in ("temperature", *PER_CENT_KINDS) or kind.signed:
            raise request.fault(f"{request.wanted()}; write the ± in the unit of the value, not in per cent")
        own = Unit("%", abs(value) / 100)
    elif unit_text:
        own = _find(request, unit_text, DIFFERENCE_KIND.get(kind.name, kind.name))
    else:
        own = unit
    half = _to_si(request, number, Unit(own.symbol, own.factor))
    if not half > 0:
        raise request.fault(
            f"{request.wanted()}; the figure after ± must be above 0 (leave ± out when it is not known)"
        )
    if half > kind.high - max(kind.low, 0.0):
        raise request.fault(f"{request.wanted()}; the figure after ± is larger than any value can be")
    if half / COVERAGE_95 == 0.0:
        raise request.fault(f"{request.wanted()}; the figure after ± is too small to be told from 0")
    return half


def _gravity_basis(request: _Request, unit_text: str) -> tuple[float, float] | None:
    """Basis (sample, water) in °C when the unit is a specific gravity and the kind allows one."""
    found = GRAVITY.fullmatch(unit_text)
    if found is None or request.kind.name not in ("density", "specific_gravity"):
        return None
    scales = {mark[-1] for mark in found.group(2, 4) if mark}
    if len(scales) > 1:
        raise request.fault(f"{request.wanted()}; both temperatures of the basis in one unit")
    basis = [float(part.replace(",", ".")) for part in found.group(1, 3)]
    if scales == {"F"}:
        basis = [(degrees - 32) * 5 / 9 for degrees in basis]
    if not all(0.0 <= degrees <= 100.0 for degrees in basis):
        raise request.fault(f"{request.wanted()}; the basis is sample/water temperature between 0 and 100 °C")
    return basis[0], basis[1]


def _specific_gravity(
    request: _Request, number: str, spread: str | None, spread_unit: str, basis: tuple[float, float]
) -> Quantity:
    """Build a specific gravity; its half-width is a plain number, in per cent, or repeats the basis."""
    gravity = _Request(request.text, KIND_TABLE["specific_gravity"], None, request.decimal_comma)
    one = Unit("", 1.0)
    value = _to_si(gravity, number, one)
    _check_bounds(gravity, value)
    if spread is None:
        return Quantity(value, None, "specific_gravity", request.text, basis, _last_digit(number, one))
    if spread_unit != "%" and GRAVITY.fullmatch(spread_unit) and _gravity_basis(gravity, spread_unit) == basis:
        spread_unit = ""
    half = _half_width(gravity, spread, spread_unit, one, value)
    u = half / COVERAGE_95
    return Quantity(value, u, "specific_gravity", request.text, basis, _last_digit(number, one))
