"""A table that a person or a spreadsheet saved as text: separator, header with units, rows with their line numbers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection
from dataclasses import dataclass

from fractionkit.sheets.faults import Faults, nearest

_HEADER = re.compile(r"([^\[\]()]*)(?:[\[(]([^\[\]()]*)[\])])?")
_SEPARATORS = ";\t,"
_BARE_UNIT = re.compile(
    r"(.+?)[ _](°C|degC|C|°F|degF|F|K|kg|mg|g|lb|oz|mL|L|min|h|s|(?:k?g|lb)[/_](?:mL|L|cm3|cm³|m3|m³))", re.IGNORECASE
)
_ALSO_CALLED = {
    "note": ("remark", "remarks", "comment", "comments", "observation", "observations"),
    "mass": ("weight", "net_weight"),
    "cut": ("receiver", "fraction", "number", "no", "no."),
    "density": ("sg", "specific_gravity", "rho"),
    "density_temp": ("temp", "temperature", "t"),
    "refractive_index": ("nd", "ri", "n_d", "n20"),
    "pot_temp": ("pot", "pot_temperature", "bath_temp"),
    "head_start": ("head", "head_temp", "vapour_temp", "vapor_temp"),
}
"""What people write over a column; told as a hint, not taken for it: a bare "temperature" may be any."""


@dataclass(frozen=True)
class Column:
    """One column: its name, the unit in its header ("" where none), its cells in the order of the rows."""

    name: str
    unit: str
    cells: list[str]


@dataclass(frozen=True)
class Table:
    """Columns by name, and the line of each row as an editor counts it (the header's line being the first)."""

    columns: dict[str, Column]
    lines: list[int]
    separator: str
    header_line: int
    meant: frozenset[str] = frozenset()  # names of ours that columns with unknown names may be


def read_table(text: str, known: Collection[str], most: int, faults: Faults) -> Table | None:
    """Split ``text`` into a table with columns out of ``known`` and at most ``most`` rows.

    Comma, semicolon and tab separate; the header decides which. Blank lines are passed over. None where not even the
    header can be read; every other fault is noted and the table holds what could be read.
    """
    text, first = _without_separator_line(text)
    separator = _separator(text, known)
    rows, lines = _records(text, separator, first, most, faults)
    if not rows:
        if not faults:
            expected = "a header line such as: cut,head_start,head_end,mass,density,density_temp"
            faults.add(None, f"{expected}; the file is empty")
        return None
    header, header_line = rows.pop(0), lines.pop(0)
    heads, meant = _heads(header, header_line, known, faults)
    cells: list[tuple[str, ...]] = [()] * len(header)
    if rows:
        rows = _squared(rows, lines, len(header), separator, faults)
        cells = list(zip(*rows, strict=True))
    columns = {}
    for position, ((name, unit), column) in enumerate(zip(heads, cells, strict=True), start=1):
        if name and name not in columns:
            columns[name] = Column(name, unit, [cell.strip() for cell in column])
        elif not name and any(column):
            row = next(index for index, cell in enumerate(column) if cell.strip() or index == len(column) - 1)
            expected = "nothing, or a name over this column in the header"
            faults.add(column[row], expected, row=lines[row], column=str(position))
    return Table(columns, lines, separator, header_line, meant)


def _without_separator_line(text: str) -> tuple[str, int]:
    """Drop the line ``sep=;`` that some spreadsheets put first; also the number of the line that comes first then."""
    found = re.match(r'"?sep=.?"?(?:\r\n|\n|\r)', text)
    return (text[found.end() :], 2) if found else (text, 1)


def _separator(text: str, known: Collection[str]) -> str:
    """The separator under which the first line holds most names that are known, then most cells."""
    line = text.lstrip().splitlines()[0] if text.strip() else ""

    def score(separator: str) -> tuple[int, int]:
        cells = line.split(separator)
        return sum(_head(cell, known)[0] in known for cell in cells), len(cells)

    return max(_SEPARATORS, key=score)


def _records(text: str, separator: str, first: int, most: int, faults: Faults) -> tuple[list[list[str]], list[int]]:
    """All rows that are not blank with the line each begins on; stops, and notes a fault, after too many."""
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=separator,
        strict=True,  # or an open quotation mark would swallow the rows below it
        skipinitialspace=separator != "\t",
    )
    rows: list[list[str]] = []
    lines: list[int] = []
    surplus = 0
    begins = first
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                if len(rows) <= most:
                    rows.append(row)
                    lines.append(begins)
                else:
                    surplus += 1
            begins = reader.line_num + first
    except csv.Error as error:
        faults.cut_short = True
        expected = f"a row of cells ({error}); a cell with a quotation mark in it stands in quotation marks, doubled"
        faults.add(None, f'{expected}: "6"" column"', row=begins)
    if surplus:
        faults.add(f"{len(rows) - 1 + surplus} cuts", f"at most {most} cuts")
    return rows, lines


def _head(cell: str, known: Collection[str]) -> tuple[str, str]:
    """Name and unit of a header cell: "Head start [F]" is ("head_start", "F"), "mass g" is ("mass", "g")."""
    found = _HEADER.fullmatch(cell.strip())
    if not found:
        return cell.strip(), ""
    name, unit = _name(found[1]), (found[2] or "").strip()
    bare = _BARE_UNIT.fullmatch(found[1].strip())
    if bare and not unit and name not in known and _name(bare[1]) in known:
        return _name(bare[1]), bare[2].replace("_", "/")
    return name, unit


def _name(text: str) -> str:
    return re.sub(r"[\s-]+", "_", text.strip().lower())


def _heads(
    header: list[str], line: int, known: Collection[str], faults: Faults
) -> tuple[list[tuple[str, str]], frozenset[str]]:
    """Name and unit of each column, the name "" where it is none of ours, faults noted; and what those may have meant."""
    heads = []
    seen: set[str] = set()
    meant: set[str] = set()
    for cell in header:
        name, unit = _head(cell, known)
        if name and name not in known:
            alias = next((ours for ours, theirs in _ALSO_CALLED.items() if ours in known and name in theirs), name)
            hint = nearest(name, known) if alias == name else f"; did you mean {alias!r}?"
            expected = "a column of those names" if meant else f"a column out of {', '.join(known)}"
            faults.add(cell.strip(), expected + hint, row=line, column=cell.strip()[:40])
            meant |= {ours for ours in known if f"'{ours}'" in hint} or {""}
            name = f"?{name}"
        elif name and name in seen:
            faults.add(cell.strip(), "each column once", row=line, column=name)
        seen.add(name)
        heads.append((name, unit))
    return heads, frozenset(meant)


def _squared(rows: list[list[str]], lines: list[int], width: int, separator: str, faults: Faults) -> list[list[str]]:
    """Rows as long as the header; a row with more or fewer cells is a fault."""
    squared = []
    for row, line in zip(rows, lines, strict=True):
        if len(row) < width or any(cell.strip() for cell in row[width:]):
            hint = (
                "; a cell with a comma in it (a decimal comma, a note) stands in quotation marks"
                if separator == ","
                else ""
            )
            expected = f"{width} cells as in the header{hint}"
            faults.add(f"{len(row)} cells", expected, row=line)
            faults.mute(line)
        squared.append((row + [""] * width)[:width])
    return squared
