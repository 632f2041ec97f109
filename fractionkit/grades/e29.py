"""Rounding as ASTM E29 has it, and comparing with a limit by its two methods.

E29, "Standard Practice for Using Significant Digits in Test Data to Determine Conformance with Specifications", leaves
the choice between two methods to whoever sets the limit. By the *absolute method* any deviation outside the limit,
however small, is a deviation. By the *rounding method* the observed value is first rounded to the last place of the
limit as it is written, in one step, a half going to the even digit; then the two are compared. Neither says anything
of uncertainty.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

from fractionkit.quantities import Quantity

_DIGITS = 12  # of a float that are meant; 0.985 is not 0.98499999999999999


def round_to(value: Decimal, place: Decimal) -> Decimal:
    """Round to a multiple of ``place`` (a power of ten: 0.01, 1, 10), half to even; E29, rounding procedure."""
    return (value / place).quantize(Decimal(1), rounding=ROUND_HALF_EVEN) * place


def last_place(limit: str) -> Decimal:
    """The place of the last digit written: 0.1 for "99.0", 1 for "99"."""
    exponent = Decimal(limit).as_tuple().exponent
    return Decimal(1).scaleb(int(exponent))


def inside_rounded(observed: float, low: Quantity | None, high: Quantity | None) -> bool:
    """Whether an SI value, rounded to the last place of each limit in the unit that it is written in, is inside.

    The distance from the limit is counted in units of its last digit, so that no unit with a zero of its own (°C) shifts
    the halves.
    """
    return (low is None or _beyond(observed, low) >= 0) and (high is None or _beyond(observed, high) <= 0)


def _beyond(observed: float, limit: Quantity) -> int:
    """Last digits by which the rounded value lies above the limit."""
    digit = limit.last_digit
    if not digit:
        return (observed > limit.value) - (observed < limit.value)
    written = typed_number(limit)
    whole = int(written / last_place(str(written)))
    away = Decimal(f"{(observed - limit.value) / digit:.{_DIGITS}g}")
    return int(round_to(Decimal(whole) + away, Decimal(1))) - whole


def typed_number(limit: Quantity) -> Decimal:
    """The number of a limit as it was typed, with its trailing zeros."""
    from fractionkit.quantities.notation import NUMBER_THEN_UNIT, flatten

    found = NUMBER_THEN_UNIT.fullmatch(flatten(limit.text))
    if found is None:  # a limit made in code, not typed
        return Decimal(repr(limit.value))
    return Decimal(found[1].replace(",", "."))
