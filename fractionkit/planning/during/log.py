"""The log of readings taken during a run: ``head, collected`` in a CSV file, with ``time`` and ``note`` if one likes."""

from __future__ import annotations

from pathlib import Path

from fractionkit.errors import InputError, QuantityError
from fractionkit.planning.during.model import BenchReading
from fractionkit.quantities import parse
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.source import read_text
from fractionkit.sheets.table import Column, read_table

COLUMNS = ("time", "head", "collected", "note")
MOST = 2000
_KINDS = {"head": ("temperature", "°C"), "collected": ("mass", "g")}


def read_log(path: Path) -> list[BenchReading]:
    """Readings in the order of the file.

    Raises
    ------
    InputError
        with every fault: a column that lacks, a cell that is no temperature or mass.
    """
    faults = Faults(str(path))
    text = read_text(path, faults)
    table = None if text is None else read_table(text, COLUMNS, MOST, faults)
    if table is None:
        raise InputError(faults.all())
    for name, (kind, unit) in _KINDS.items():
        if name not in table.columns:
            expected = f"a column {name}: a {kind} each, in {unit} unless the header says otherwise"
            faults.add(None, expected, row=table.header_line, column=name)
    if not table.lines:
        faults.add(None, "a row with head and collected under the header")
    if faults:
        raise InputError(faults.all())
    comma = table.separator != ","
    values = {name: _values(table.columns[name], table.lines, comma, faults) for name in _KINDS}
    if faults:
        raise InputError(faults.all())
    return [
        BenchReading(head, collected, row)
        for head, collected, row in zip(values["head"], values["collected"], table.lines, strict=True)
    ]


def _values(column: Column, lines: list[int], comma: bool, faults: Faults) -> list[float]:
    kind, unit = _KINDS[column.name]
    found = []
    for cell, row in zip(column.cells, lines, strict=True):
        try:
            found.append(parse(cell, kind, default_unit=column.unit or unit, decimal_comma=comma and "," in cell).value)
        except QuantityError as error:
            for fault in error.faults:
                faults.add(cell or None, fault.expected, row=row, column=column.name)
            found.append(0.0)
    return found
