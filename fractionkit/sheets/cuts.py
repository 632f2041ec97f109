"""cuts.csv: the table of cuts, converted to SI and checked row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.sheets.columns import COLUMNS, SPECS, Array, Converted, convert, uses_decimal_comma
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.model import CutTable, DensityEntry
from fractionkit.sheets.table import Table, read_table

MOST_CUTS = 10_000
_DENSITY_LOW, _DENSITY_HIGH = 500.0, 3500.0  # kg/m3, wider than any liquid of the catalogue
PLATEAU_FALL = 1.0
"""K that a head may read lower at the end of a cut than at its start: on a plateau two readings of the same temperature
come in either order (common practice, no source)."""


@dataclass(frozen=True)
class _Sheet:
    """The table with its columns converted."""

    table: Table
    columns: dict[str, Converted]
    faults: Faults

    def values(self, name: str) -> Array:
        """Values (K,), NaN where the sheet has no such column."""
        column = self.columns.get(name)
        return np.full(len(self.table.lines), np.nan) if column is None else column.values

    def given(self, name: str) -> NDArray[np.bool_]:
        """Where the sheet has something in this column, right or wrong."""
        column = self.columns.get(name)
        return np.zeros(len(self.table.lines), dtype=bool) if column is None else column.given

    def fault_rows(self, where: NDArray[np.bool_], column: str, shown: str, expected: str) -> None:
        """Note a fault at ``column`` of each row in ``where``, showing what stands in column ``shown``."""
        if not where.any():
            return
        if column not in self.table.columns:
            if column in self.table.meant:
                return
            expected = f"a column {column}: {expected}"
            self.faults.add(None, expected, row=self.table.header_line, column=column)
            return
        cells = self.table.columns[shown].cells if shown in self.table.columns else None
        for index in np.flatnonzero(where):
            value = cells[index] if cells else None
            self.faults.add(value or None, expected, row=self.table.lines[index], column=column)


def read_cuts(text: str, faults: Faults, *, may_fall: float = PLATEAU_FALL) -> CutTable | None:
    """The cuts in ``text``; None where there is no table at all. Faults are noted, their values left NaN.

    may_fall : K by which the head may fall within a cut; infinite where the reflux was changed midway.
    """
    table = read_table(text, COLUMNS, MOST_CUTS, faults)
    if table is None:
        return None
    comma = uses_decimal_comma(table)
    columns = {
        name: convert(table.columns[name], table.lines, comma, faults, table.header_line)
        for name in SPECS
        if name in table.columns
    }
    sheet = _Sheet(table, columns, faults)
    names = _names(sheet)
    _check_required(sheet)
    _check_pairs(sheet)
    _check_rising(sheet, may_fall)
    return _cut_table(sheet, names)


def check_vessel(cuts: CutTable, entry: DensityEntry, faults: Faults) -> None:
    """Hold the filled masses against the vessel of run.toml's [density]."""
    weighed = np.isfinite(cuts.filled_mass)
    calibrated = entry.empty_mass is not None and entry.water_mass is not None
    if not weighed.any():
        return
    rows = cuts.row.tolist()
    if not calibrated:
        expected = (
            "the vessel in run.toml: [density] with vessel, empty_mass, water_mass and water_temp; "
            "or densities in place of filled masses"
        )
        faults.add(None, expected, row=rows[int(np.argmax(weighed))], column="filled_mass")
        return
    if entry.method in ("meter", "hydrometer"):
        expected = f"densities; a {entry.method} (run.toml, [density] method) is not weighed"
        faults.add(None, expected, row=rows[int(np.argmax(weighed))], column="filled_mass")
    empty, water = float(entry.empty_mass or 0.0), float(entry.water_mass or 0.0)
    if water <= empty:
        return
    # 1000 kg/m3 for water is near enough to tell a slip of the pen
    implied = (cuts.filled_mass - empty) / (water - empty) * 1000.0
    for index in np.flatnonzero((implied < _DENSITY_LOW) | (implied > _DENSITY_HIGH)):
        grams = 1000.0 * cuts.filled_mass[index]
        expected = (
            "the vessel weighed full of the cut; with empty_mass and water_mass of run.toml this is a density of "
            f"about {implied[index] / 1000.0:.3g} g/mL"
        )
        kind = "the vessel weighed full of the cut"
        faults.add(f"{grams:.6g} g", expected, row=rows[index], column="filled_mass", kind=kind)


def _names(sheet: _Sheet) -> tuple[str, ...]:
    """The names of the cuts; blank and repeated ones are faults."""
    column = sheet.table.columns.get("cut")
    if column is None:
        return ("",) * len(sheet.table.lines)
    first: dict[str, int] = {}
    for name, line in zip(column.cells, sheet.table.lines, strict=True):
        if not name:
            sheet.faults.add(None, "a name for each cut, like C1", row=line, column="cut")
        elif name in first:
            expected = f"a name used once; row {first[name]} has it too"
            sheet.faults.add(name, expected, row=line, column="cut", kind="a name used once")
        else:
            first[name] = line
    return tuple(column.cells)


def _check_required(sheet: _Sheet) -> None:
    """A table needs the column cut and one of mass and volume, at least one row, and in each row one of the two."""
    table, faults = sheet.table, sheet.faults
    head = table.header_line
    if "cut" not in table.columns and "cut" not in table.meant:
        faults.add(None, "a column cut with the name of each cut", row=head, column="cut")
    amounts = [name for name in ("mass", "volume") if name in table.columns]
    if not amounts and not table.meant & {"mass", "volume"}:
        faults.add(None, "a column mass (g) or volume (mL): how much each receiver held", row=head, column="mass")
    elif amounts:
        blank = ~(sheet.given("mass") | sheet.given("volume"))
        sheet.fault_rows(blank, amounts[0], "", "a mass or a volume in each row; leave an empty receiver out")
    if not table.lines and not faults:
        faults.add(None, "at least one cut below the header")


def _check_pairs(sheet: _Sheet) -> None:
    """Checks that need two columns of a row."""
    density, filled = sheet.given("density"), sheet.given("filled_mass")
    sheet.fault_rows(
        density & ~sheet.given("density_temp"),
        "density_temp",
        "",
        "the temperature at which the density was read; without it a density says little of composition",
    )
    sheet.fault_rows(
        filled & ~density & ~sheet.given("density_temp"),
        "density_temp",
        "",
        "the temperature of the vessel's content when it was filled to its mark",
    )
    sheet.fault_rows(density & filled, "filled_mass", "filled_mass", "either density or filled_mass in a row, not both")
    sheet.fault_rows(
        sheet.given("refractive_index") & ~sheet.given("refractive_temp"),
        "refractive_temp",
        "",
        "the temperature at which the refractive index was read",
    )


def _check_rising(sheet: _Sheet, may_fall: float) -> None:
    """A boiling range does not fall, and a head temperature by no more than ``may_fall`` within a cut."""
    fallen = (
        f"a head temperature that falls by {may_fall:g} K at most within a cut; where it fell because less vapour came, "
        'leave head_end empty; where the reflux was raised, write order = "any" under [run]'
    )
    for start, end, room, rule in (
        ("head_start", "head_end", may_fall, fallen),
        ("range_start", "range_end", 0.0, "a temperature not above range_end"),
    ):
        for index in np.flatnonzero(sheet.values(start) - sheet.values(end) > room + 1e-9):
            cells, other = sheet.table.columns[start].cells, sheet.table.columns[end].cells
            expected = f"{rule} ({end} is {other[index]})"
            sheet.faults.add(cells[index], expected, row=sheet.table.lines[index], column=start, kind=rule)


def _cut_table(sheet: _Sheet, names: tuple[str, ...]) -> CutTable:
    size = len(names)
    density = sheet.columns.get("density")
    kind = np.full(size, "", dtype="<U7")
    basis = np.full((size, 2), np.nan)
    if density is not None:
        kind[np.isfinite(density.values)] = "density"
        kind[np.isfinite(density.values) & density.gravity] = "sg"
        basis = density.basis
    note = sheet.table.columns.get("note")
    return CutTable(
        names=names,
        notes=("",) * size if note is None else tuple(note.cells),
        row=np.array(sheet.table.lines, dtype=np.int64),
        head_start=sheet.values("head_start"),
        head_end=sheet.values("head_end"),
        mass=sheet.values("mass"),
        volume=sheet.values("volume"),
        density=sheet.values("density"),
        density_kind=kind,
        sg_basis=basis,
        density_temperature=sheet.values("density_temp"),
        filled_mass=sheet.values("filled_mass"),
        refractive_index=sheet.values("refractive_index"),
        refractive_temperature=sheet.values("refractive_temp"),
        pot_temperature=sheet.values("pot_temp"),
        range_start=sheet.values("range_start"),
        range_end=sheet.values("range_end"),
    )
