"""Bench notation to SI values with uncertainty, and figures back to text rounded to their uncertainty."""

from fractionkit.quantities.parse import COVERAGE_95, Quantity, parse
from fractionkit.quantities.units import KINDS, accepted_units, from_si, to_si, unit_factor

__all__ = [
    "COVERAGE_95",
    "KINDS",
    "Quantity",
    "accepted_units",
    "from_si",
    "parse",
    "to_si",
    "unit_factor",
]
