"""Bench notation to SI values with uncertainty, and figures back to text rounded to their uncertainty."""

from fractionkit.quantities.parse import parse
from fractionkit.quantities.quantity import COVERAGE_95, Estimate, Flag, Quantity
from fractionkit.quantities.rounding import (
    UNKNOWN,
    decimals_of,
    format_floor,
    format_interval,
    format_mass,
    format_probability,
    format_typed,
    format_value,
    format_with_half_width,
    mass_scale,
)
from fractionkit.quantities.units import KINDS, accepted_units, from_si, to_si, unit_factor

__all__ = [
    "COVERAGE_95",
    "KINDS",
    "UNKNOWN",
    "Estimate",
    "Flag",
    "Quantity",
    "accepted_units",
    "decimals_of",
    "format_floor",
    "format_interval",
    "format_mass",
    "format_probability",
    "format_typed",
    "format_value",
    "format_with_half_width",
    "from_si",
    "mass_scale",
    "parse",
    "to_si",
    "unit_factor",
]
