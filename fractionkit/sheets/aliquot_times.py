"""The column ``time`` of an aliquot sheet: times since a start with their unit, or clock times, to seconds."""

from __future__ import annotations

import datetime
import re

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import QuantityError
from fractionkit.quantities import parse
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.table import Column

Array = NDArray[np.float64]

_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")
_CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
_DAY = 86400.0
# A clock that goes back by more than this passed midnight; by less, the rows are out of order.
_MIDNIGHT = 43200.0
_EXPECTED = 'a time with its unit ("45 min", or a header "time [min]"), or a clock time ("09:30", "2026-05-09 09:30")'


def read_times(column: Column, lines: list[int], faults: Faults, header_line: int) -> tuple[Array, str]:
    """Seconds (K,) since the first sample, or since zero where times are counted, and the first clock time.

    The text is "" where times are counted. Faults are noted for blanks, for two ways of writing in one column and for
    times that go back; their entries are NaN.
    """
    factor = _factor(column, faults, header_line)
    seconds = np.full(len(column.cells), np.nan)
    kinds: list[str] = [""] * len(column.cells)
    for index, cell in enumerate(column.cells):
        found = _read(cell, column.unit, factor)
        if isinstance(found, str):
            faults.add(cell or None, found, row=lines[index], column=column.name, kind=_EXPECTED)
        elif found is not None:
            seconds[index], kinds[index] = found
    first = next((index for index, kind in enumerate(kinds) if kind), None)
    if first is None:
        return seconds, ""
    for index, kind in enumerate(kinds):
        if kind and kind != kinds[first]:
            expected = f"{kinds[first]}, as in row {lines[first]}"
            faults.add(column.cells[index], expected, row=lines[index], column=column.name, kind="one way of writing")
            seconds[index] = np.nan
    _in_order(seconds, kinds[first] == _WORDS["clock"], column, lines, faults)
    if kinds[first] == _WORDS["count"]:
        return seconds, ""
    return seconds - seconds[first], column.cells[first]


_WORDS = {
    "count": "a time since the start",
    "clock": "a time of day",
    "date": "a date with a time of day",
    "zone": "a date with a time of day and its time zone",
}


def _factor(column: Column, faults: Faults, header_line: int) -> float | None:
    """Seconds in the header's unit; None where it has none or one that is not known."""
    if not column.unit:
        return None
    try:
        return parse(f"1 {column.unit}", "time").value
    except QuantityError as error:
        faults.adopt(f"{column.name} [{column.unit}]", error, row=header_line, column=column.name)
        return None


def _read(cell: str, unit: str, factor: float | None) -> tuple[float, str] | str | None:
    """Seconds and the way of writing; what was expected where it is none; None where the header is at fault."""
    if _NUMBER.fullmatch(cell):
        if factor is None:
            return None if unit else _EXPECTED
        try:
            return parse(f"{cell} {unit}", "time", decimal_comma=True).value, _WORDS["count"]
        except QuantityError as error:
            return error.faults[0].expected
    if clock := _CLOCK.fullmatch(cell):
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return hours * 3600.0 + minutes * 60.0 + seconds, _WORDS["clock"]
    if re.match(r"[0-9]{4}-", cell):
        return _moment(cell)
    try:
        return parse(cell, "time").value, _WORDS["count"]
    except QuantityError:
        return _EXPECTED


def _moment(cell: str) -> tuple[float, str] | str:
    try:
        moment = datetime.datetime.fromisoformat(cell)
    except ValueError:
        return _EXPECTED
    if moment.tzinfo is not None:
        start = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
        return (moment - start).total_seconds(), _WORDS["zone"]
    return (moment - datetime.datetime(2000, 1, 1)).total_seconds(), _WORDS["date"]


def _in_order(seconds: Array, clock: bool, column: Column, lines: list[int], faults: Faults) -> None:
    """Carry clock times over midnight, in place; note times that go back."""
    known = np.flatnonzero(np.isfinite(seconds))
    steps = np.diff(seconds[known])
    if clock:
        days = np.cumsum(steps < -_MIDNIGHT)
        seconds[known[1:]] += _DAY * days
        steps = np.diff(seconds[known])
    for place in np.flatnonzero(steps < 0.0):
        index, before = int(known[place + 1]), int(known[place])
        expected = f"samples in the order in which they were taken; row {lines[before]} has {column.cells[before]}"
        kind = "samples in the order in which they were taken"
        faults.add(column.cells[index], expected, row=lines[index], column=column.name, kind=kind)
