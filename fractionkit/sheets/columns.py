"""The columns of cuts.csv and how their cells become SI arrays."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import QuantityError
from fractionkit.quantities import Quantity, parse
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.table import Column, Table

Array = NDArray[np.float64]

_ICE = 273.15
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
# One to three digits, a comma, three digits: "1,480" may be 1.48 or 1480.
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_PLUS_MINUS = re.compile(r"±|\+ ?/ ?-|\+-")
_BLANK_HINT = "; leave the cell empty where nothing was read"


@dataclass(frozen=True)
class Spec:
    """What a column holds: kind of quantity, unit of a bare number, SI limits and the same limits in words."""

    kind: str
    unit: str
    low: float
    high: float
    limits: str
    above: bool = False


def _temperature(low: float, high: float, what: str) -> Spec:
    return Spec("temperature", "°C", low + _ICE, high + _ICE, f"{what} from {low:g} to {high:g} °C")


HOTTEST_SAMPLE = 60
"""°C; nobody fills a vessel with a hotter solvent of this catalogue, and 61 to 90 is a room in °F (common practice)."""

SPECS: dict[str, Spec] = {
    "head_start": _temperature(-50, 300, "a head temperature"),
    "head_end": _temperature(-50, 300, "a head temperature"),
    "mass": Spec("mass", "g", 0.0, 1000.0, "a mass of more than 0 and at most 1000 kg", above=True),
    "volume": Spec("volume", "mL", 0.0, 1.0, "a volume of more than 0 and at most 1000 L", above=True),
    "density": Spec("density", "g/mL", 500.0, 3500.0, "a density from 0.5 to 3.5 g/mL"),
    "density_temp": _temperature(-30, HOTTEST_SAMPLE, "the temperature of the sample"),
    "filled_mass": Spec("mass", "g", 0.0, 10.0, "a mass of more than 0 and at most 10 kg", above=True),
    "refractive_index": Spec("refractive_index", "", 1.0, 2.0, "a refractive index between 1 and 2", above=True),
    "refractive_temp": _temperature(-30, HOTTEST_SAMPLE, "the temperature of the sample"),
    "pot_temp": _temperature(-50, 400, "a pot temperature"),
    "range_start": _temperature(-50, 300, "a boiling temperature"),
    "range_end": _temperature(-50, 300, "a boiling temperature"),
}
COLUMNS = ("cut", *SPECS, "note")


@dataclass(frozen=True)
class Converted:
    """A column in SI, NaN where blank or at fault; ``gravity`` (K,) where it is a specific gravity on ``basis``."""

    values: Array
    given: NDArray[np.bool_]  # the cell holds something, right or wrong
    gravity: NDArray[np.bool_]
    basis: Array  # (K, 2) °C


def uses_decimal_comma(table: Table) -> bool:
    """Whether a comma in this table's numbers is surely decimal, so that "1,480" is 1.48 and not 1480.

    So it is where semicolons separate, or where some number can only be read so ("61,2") and none has a point.
    """
    if table.separator == ";":
        return True
    numbers = [
        cell for name in SPECS if name in table.columns for cell in table.columns[name].cells if _NUMBER.fullmatch(cell)
    ]
    surely = any("," in cell and not _GROUPED.fullmatch(cell) for cell in numbers)
    return surely and not any("." in cell for cell in numbers)


def convert(column: Column, lines: list[int], decimal_comma: bool, faults: Faults, header_line: int) -> Converted:
    """Convert a column; plain numbers all at once, odd cells (a unit of their own, not a number) one by one."""
    spec = SPECS[column.name]
    size = len(column.cells)
    values = np.full(size, np.nan)
    gravity = np.zeros(size, dtype=bool)
    basis = np.full((size, 2), np.nan)
    given = np.array([bool(cell) for cell in column.cells], dtype=bool)
    unit = column.unit or spec.unit
    scale = _scale(column, unit, spec, faults, header_line)
    if scale is None:
        return Converted(values, given, gravity, basis)
    factor, offset, header_basis = scale
    plain, odd = _sorted_out(column.cells, decimal_comma)
    with np.errstate(over="ignore"):  # infinity is beyond every limit
        values[list(plain)] = np.array([float(text) for text in plain.values()], dtype=float) * factor + offset
    if header_basis is not None:
        gravity[list(plain)] = True
        basis[list(plain)] = header_basis
    for index in odd:
        quantity = _odd_cell(column, index, unit, spec, decimal_comma, lines, faults)
        if quantity is not None:
            values[index] = quantity.value
            if quantity.basis is not None:
                gravity[index] = True
                basis[index] = quantity.basis
    _check_limits(column, values, gravity, spec, lines, faults)
    return Converted(values, given, gravity, basis)


def _sorted_out(cells: Iterable[str], decimal_comma: bool) -> tuple[dict[int, str], list[int]]:
    """Plain numbers by row, with a decimal point; rows of cells that are neither plain nor blank."""
    plain: dict[int, str] = {}
    odd: list[int] = []
    for index, cell in enumerate(cells):
        if _NUMBER.fullmatch(cell) and (decimal_comma or not _GROUPED.fullmatch(cell)):
            plain[index] = cell.replace(",", ".")
        elif cell:
            odd.append(index)
    return plain, odd


def _scale(
    column: Column, unit: str, spec: Spec, faults: Faults, header_line: int
) -> tuple[float, float, tuple[float, float] | None] | None:
    """Factor and offset from the header's unit to SI, and the basis if it is a specific gravity; None if unknown."""
    if spec.kind == "refractive_index" and not column.unit:
        return 1.0, 0.0, None
    try:
        one, two = (parse(f"{number} {unit}", spec.kind) for number in (1, 2))
    except QuantityError as error:
        faults.adopt(f"{column.name} [{column.unit}]", error, row=header_line, column=column.name)
        return None
    if spec.kind != "temperature":
        return one.value, 0.0, one.basis
    slope = two.value - one.value
    return slope, one.value - slope, None


def _odd_cell(
    column: Column,
    index: int,
    unit: str,
    spec: Spec,
    decimal_comma: bool,
    lines: list[int],
    faults: Faults,
) -> Quantity | None:
    """A cell that is no plain number: parsed with its own unit, or with the header's if it has none."""
    cell, line = column.cells[index], lines[index]
    if _PLUS_MINUS.search(cell):
        expected = "a value without ±; how well it was measured stands in run.toml, as bias and repeat"
        faults.add(cell, expected, row=line, column=column.name)
        return None
    try:
        text = f"{cell} {unit}" if _NUMBER.fullmatch(cell) else cell
        quantity = parse(text, spec.kind, decimal_comma=decimal_comma)
    except QuantityError as error:
        also = "" if any(digit in cell for digit in "0123456789") else _BLANK_HINT
        faults.adopt(cell, error, row=line, column=column.name, also=also)
        return None
    return quantity


def _check_limits(
    column: Column,
    values: Array,
    gravity: NDArray[np.bool_],
    spec: Spec,
    lines: list[int],
    faults: Faults,
) -> None:
    """Note a fault for each value outside the column's limits and blank it."""
    with np.errstate(over="ignore"):
        si = np.where(gravity, values * 1000.0, values)
    bad = (si <= spec.low if spec.above else si < spec.low) | (si > spec.high) | np.isinf(si)
    other = {"°C": "F", "g": "kg", "mL": "L", "g/mL": "kg/m3"}.get(spec.unit)
    hint = ""
    if other and not column.unit:
        hint = (
            f"; a number without a unit is in {spec.unit}, another unit stands in the header: {column.name} [{other}]"
        )
    for index in np.flatnonzero(bad):
        slip = hint if si[index] > spec.high or spec.low > 0 else ""
        faults.add(column.cells[index], spec.limits + slip, row=lines[index], column=column.name)
    values[bad] = np.nan
