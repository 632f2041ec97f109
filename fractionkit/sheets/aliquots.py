"""Reading a series of aliquots: aliquots.toml and the samples beside it, every fault of both told at once."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.sheets.aliquot_times import read_times
from fractionkit.sheets.columns import Converted, convert, uses_decimal_comma
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.model import DensityEntry, IndexEntry
from fractionkit.sheets.source import read_text
from fractionkit.sheets.table import Column, Table, read_table

if TYPE_CHECKING:
    from fractionkit.sheets.aliquot_file import AliquotSheet, HeadSection

Array = NDArray[np.float64]

ALIQUOT_FILE = "aliquots.toml"
MOST_ALIQUOTS = 1000
MEASURED = ("density", "density_temp", "filled_mass", "refractive_index", "refractive_temp")
COLUMNS = ("time", *MEASURED, "note")


@dataclass(frozen=True)
class AliquotTable:
    """The samples in the order taken: arrays (K,), SI, NaN where blank; the columns as in `CutTable`.

    time : s since the start (or since the first sample, where ``clock`` tells when that was).
    cells : the times as typed. row : line in the file.
    """

    time: Array
    clock: str
    cells: tuple[str, ...]
    row: NDArray[np.int64]
    density: Array
    density_is_gravity: NDArray[np.bool_]
    sg_basis: Array
    density_temperature: Array
    filled_mass: Array
    refractive_index: Array
    refractive_temperature: Array
    notes: tuple[str, ...]
    borrowed: bool  # some index stands without a temperature and takes that of the density

    def __len__(self) -> int:
        return len(self.time)


@dataclass(frozen=True)
class AliquotSeries:
    """A series of aliquots as it was written down.

    components : canonical names, two or three. follow : the one whose levelling off is judged. tolerance : mass
    fraction per ``interval`` (s) below which it counts as level, None where the sheet does not say.
    """

    source: Path
    table_file: Path
    title: str
    date: datetime.date | None
    components: tuple[str, ...]
    follow: str
    samples: AliquotTable
    density: DensityEntry
    refractive_index: IndexEntry
    tolerance: float | None
    interval: float | None


def load_aliquots(path: str | Path) -> AliquotSeries:
    """Read a series of aliquots from its folder or its aliquots.toml.

    Raises
    ------
    InputError
        with every fault of aliquots.toml and of the table of samples.

    """
    from fractionkit.sheets.aliquot_file import AliquotSheet, HeadSection

    source = _file(Path(path))
    faults = Faults(str(source))
    text = read_text(source, faults)
    if text is None:
        raise InputError(faults.all())
    sheet = AliquotSheet(text, faults)
    head = sheet.section("run", HeadSection)
    table_file = source.parent / head.samples
    table_faults = Faults(str(table_file))
    content = read_text(table_file, table_faults) if sheet.readable or os.path.exists(table_file) else None
    samples = None if content is None else read_samples(content, table_faults)
    series = _assemble(source, table_file, sheet, head, samples, table_faults) if sheet.readable else None
    listed = faults.all() + table_faults.all()
    if listed or series is None:
        raise InputError(listed)
    return series


def _file(path: Path) -> Path:
    try:
        if not path.is_dir():
            return path
        inside = path / ALIQUOT_FILE
        there = inside.exists()
    except OSError as error:
        raise InputError(Fault(str(path), f"a folder or file that can be read ({error.strerror})")) from error
    if not there:
        raise InputError(Fault(None, f"a folder with a {ALIQUOT_FILE} in it", str(path)))
    return inside


def _assemble(
    source: Path,
    table_file: Path,
    sheet: AliquotSheet,
    head: HeadSection,
    samples: AliquotTable | None,
    table_faults: Faults,
) -> AliquotSeries | None:
    """The series; None where there is no table. All checks of aliquots.toml are made in either case."""
    from fractionkit.sheets import entries
    from fractionkit.sheets.aliquot_file import LevelSection

    if not sheet.given("run", "components"):
        expected = 'the substances in the samples, like components = ["chloroform", "ethanol"]'
        sheet.fault(expected, "run", "components")
    names = entries.Names(sheet, head.components)
    if len(names.components) > 3:
        expected = "two components, or three where the refractive index is read as well"
        sheet.fault(expected, "run", "components", value=list(head.components or ()))
    follow = None if head.follow is None else names.member(head.follow, "run", "follow")
    density, index = entries.density(sheet), entries.refractive_index(sheet)
    level = sheet.section("level", LevelSection)
    missing = [key for key in ("tolerance", "interval") if not sheet.given("level", key)]
    if sheet.given("level") and missing:
        sheet.fault(f'{" and ".join(missing)} as well, like tolerance = "0.5 wt%", interval = "30 min"', "level")
    if samples is None:
        return None
    _check_readings(samples, len(names.components), density, table_faults)
    return AliquotSeries(
        source,
        table_file,
        head.title or source.resolve().parent.name,
        head.date,
        tuple(names.components),
        follow or (names.components or [""])[0],
        samples,
        density,
        index,
        entries.si(level.tolerance),
        entries.si(level.interval),
    )


def _check_readings(samples: AliquotTable, components: int, density: DensityEntry, faults: Faults) -> None:
    """Checks that need the sheet and the table."""
    rows = samples.row.tolist()
    weighed = np.isfinite(samples.filled_mass)
    if weighed.any() and (density.empty_mass is None or density.water_mass is None):
        expected = "the vessel in aliquots.toml: [density] with vessel, empty_mass, water_mass and water_temp"
        faults.add(None, expected, row=rows[int(np.argmax(weighed))], column="filled_mass")
    if components == 3 and not faults and not np.isfinite(samples.refractive_index).any():
        expected = "a column refractive_index: three components cannot be told apart by density alone"
        faults.add(None, expected, column="refractive_index")


def read_samples(text: str, faults: Faults) -> AliquotTable | None:
    """The samples in ``text``; None where there is no table at all. Faults are noted, their values left NaN."""
    if not text.strip():
        faults.add(None, "a header line such as: time [min],density,density_temp; the file is empty")
        return None
    table = read_table(text, COLUMNS, 10**9, faults)  # counted here, so that the message speaks of samples
    if table is None:
        return None
    if len(table.lines) > MOST_ALIQUOTS:
        faults.add(f"{len(table.lines)} samples", f"at most {MOST_ALIQUOTS} samples")
        return None
    if not table.lines and not faults:
        faults.add(None, "at least one sample below the header")
    comma = uses_decimal_comma(table)
    columns = {
        name: convert(table.columns[name], table.lines, comma, faults, table.header_line)
        for name in MEASURED
        if name in table.columns
    }
    time = table.columns.get("time")
    if time is None:
        faults.add(None, "a column time: when each sample was taken", row=table.header_line, column="time")
        time = Column("time", "", [""] * len(table.lines))
        seconds, clock = np.full(len(table.lines), np.nan), ""
    else:
        seconds, clock = read_times(time, table.lines, faults, table.header_line)
    _check_rows(table, columns, faults)
    return _aliquot_table(table, columns, seconds, clock, time)


def _check_rows(table: Table, columns: dict[str, Converted], faults: Faults) -> None:
    """Each sample needs something that tells composition, and each reading its temperature."""
    size = len(table.lines)

    def given(name: str) -> NDArray[np.bool_]:
        return columns[name].given if name in columns else np.zeros(size, dtype=bool)

    density, filled, index = given("density"), given("filled_mass"), given("refractive_index")
    warm = given("density_temp")
    wrong = {
        "density": (~(density | filled | index), "a density, a filled mass or a refractive index in each row"),
        "filled_mass": (density & filled, "either density or filled_mass in a row, not both"),
        "density_temp": ((density | filled) & ~warm, "the temperature of the sample when its density was read"),
        "refractive_temp": (
            index & ~given("refractive_temp") & ~warm,
            "the temperature at which the refractive index was read",
        ),
    }
    for column, (where, expected) in wrong.items():
        for place in np.flatnonzero(where):
            faults.add(None, expected, row=table.lines[place], column=column)


def _aliquot_table(
    table: Table, columns: dict[str, Converted], seconds: Array, clock: str, time: Column
) -> AliquotTable:
    size = len(table.lines)

    def values(name: str) -> Array:
        return columns[name].values if name in columns else np.full(size, np.nan)

    density = columns.get("density")
    index, own = values("refractive_index"), values("refractive_temp")
    lacking = np.isfinite(index) & np.isnan(own)
    note = table.columns.get("note")
    return AliquotTable(
        seconds,
        clock,
        tuple(f"{cell} {time.unit}".strip() if cell.replace(".", "").isdigit() else cell for cell in time.cells),
        np.array(table.lines, dtype=np.int64),
        values("density"),
        np.zeros(size, dtype=bool) if density is None else density.gravity,
        np.full((size, 2), np.nan) if density is None else density.basis,
        values("density_temp"),
        values("filled_mass"),
        index,
        np.where(lacking, values("density_temp"), own),
        ("",) * size if note is None else tuple(note.cells),
        bool(lacking.any()),
    )
