"""Reading aliquots.toml and its samples: good sheets, and every fault with file, row and column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import Fault, InputError
from fractionkit.sheets.aliquot_times import read_times
from fractionkit.sheets.aliquots import AliquotSeries, load_aliquots, read_samples
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.table import Column

SHEET = """\
[run]
title = "Wash 3"
components = ["chloroform", "ethanol"]
follow = "ethanol"

[density]
bias = "0.0008 g/mL"
repeat = "0.0005 g/mL"

[level]
tolerance = "0.5 wt%"
interval = "30 min"
"""
SAMPLES = """\
time [min],density,density_temp,note
0,1.4500,21.0,first
10,1.4600,21.1,
20,1.4650,21.0,
"""


def write(folder: Path, sheet: str = SHEET, samples: str | bytes | None = SAMPLES) -> Path:
    (folder / "aliquots.toml").write_text(sheet, encoding="utf-8")
    if isinstance(samples, str):
        samples = samples.encode()
    if samples is not None:
        (folder / "aliquots.csv").write_bytes(samples)
    return folder


def load(folder: Path, **parts: str | bytes | None) -> AliquotSeries:
    return load_aliquots(write(folder, **parts))  # type: ignore[arg-type]


def faults(folder: Path, **parts: str | bytes | None) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        load(folder, **parts)
    return caught.value.faults


def test_a_good_sheet_in_si(tmp_path):
    series = load(tmp_path)
    assert series.components == ("chloroform", "ethanol")
    assert series.follow == "ethanol"
    assert series.tolerance == pytest.approx(0.005)
    assert series.interval == pytest.approx(1800.0)
    assert series.samples.time == pytest.approx([0.0, 600.0, 1200.0])
    assert series.samples.density == pytest.approx([1450.0, 1460.0, 1465.0])
    assert series.samples.density_temperature == pytest.approx([294.15, 294.25, 294.15])
    assert series.samples.notes == ("first", "", "")
    assert load_aliquots(tmp_path / "aliquots.toml").title == "Wash 3"


def test_spreadsheet_with_semicolons_commas_and_a_byte_order_mark(tmp_path):
    samples = "\ufefftime [h];density;density_temp\r\n0;1,4500;21\r\n0,5;1,4600;21\r\n;;\r\n".encode()
    series = load(tmp_path, samples=samples)
    assert series.samples.time == pytest.approx([0.0, 1800.0])
    assert series.samples.density == pytest.approx([1450.0, 1460.0])


@pytest.mark.parametrize(
    ("cells", "seconds", "clock"),
    [
        (["0 min", "45 min", "1.5 h"], [0, 2700, 5400], ""),
        (["09:30", "09:45", "10:00:30"], [0, 900, 1830], "09:30"),
        (["23:40", "23:55", "00:10", "00:10"], [0, 900, 1800, 1800], "23:40"),
        (["2026-05-09T23:50", "2026-05-10 00:20"], [0, 1800], "2026-05-09T23:50"),
        (["2026-05-09T12:00+02:00", "2026-05-09T11:00+00:00"], [0, 3600], "2026-05-09T12:00+02:00"),
    ],
)
def test_ways_of_writing_time(cells, seconds, clock):
    noted = Faults("f")
    found, start = read_times(Column("time", "", cells), list(range(2, 2 + len(cells))), noted, 1)
    assert not noted
    assert found == pytest.approx(seconds)
    assert start == clock


@pytest.mark.parametrize(
    ("cells", "unit", "row", "word"),
    [
        (["0", "10"], "", 2, "with its unit"),
        (["0 min", "ten"], "", 3, "with its unit"),
        (["0 min", ""], "", 3, "with its unit"),
        (["10 min", "5 min"], "", 3, "in the order"),
        (["09:30", "09:10"], "", 3, "in the order"),
        (["09:30", "10 min"], "", 3, "a time of day"),
        (["25:00"], "", 2, "with its unit"),
        (["2026-13-01 09:30"], "", 2, "with its unit"),
        (["-5 min"], "", 2, "with its unit"),
        (["5 mL"], "", 2, "with its unit"),
        (["nan"], "", 2, "with its unit"),
        (["5"], "mL", 1, "a time"),
    ],
)
def test_times_at_fault(cells, unit, row, word):
    noted = Faults("f")
    read_times(Column("time", unit, cells), list(range(2, 2 + len(cells))), noted, 1)
    first = noted.all()[0]
    assert first.row == row
    assert word in first.expected


@given(st.lists(st.integers(0, 86399), min_size=1, max_size=40))
def test_clock_times_count_from_the_first(seconds):
    times = sorted(seconds)
    cells = [f"{t // 3600:02d}:{t // 60 % 60:02d}:{t % 60:02d}" for t in times]
    noted = Faults("f")
    found, _ = read_times(Column("time", "", cells), list(range(2, 2 + len(cells))), noted, 1)
    assert not noted
    assert found == pytest.approx(np.array(times, dtype=float) - times[0])


@given(st.text(max_size=300))
def test_any_text_is_a_table_or_faults(text):
    noted = Faults("f")
    table = read_samples(text, noted)
    assert noted or (table is not None and np.isfinite(table.time).all() and len(table) > 0)


@given(st.lists(st.text(max_size=12), min_size=4, max_size=4))
def test_any_cells_are_read_or_refused(cells):
    quoted = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
    noted = Faults("f")
    table = read_samples(f"time,density,density_temp,note\n{quoted}\n", noted)
    assert noted or (table is not None and table.density[0] >= 500.0)


@pytest.mark.parametrize(
    ("samples", "row", "column", "word"),
    [
        ("time [min],density,density_temp\n0,1.45,\n", 2, "density_temp", "the temperature of the sample"),
        ("time [min],density,density_temp\n0,,21\n", 2, "density", "a density, a filled mass"),
        ("time [min],density,density_temp\n0,1450,21\n", 2, "density", "0.5 to 3.5"),
        ("time [min],densty,density_temp\n0,1.45,21\n", 1, "densty", "did you mean 'density'"),
        ("density,density_temp\n1.45,21\n", 1, "time", "a column time"),
        ("time [min],density,density_temp\n0,1.45 ± 0.01,21\n", 2, "density", "without ±"),
        ("time [min],filled_mass,density_temp\n0,55,21\n", 2, "filled_mass", "the vessel"),
        ("time [min],refractive_index\n0,1.44\n", 2, "refractive_temp", "the temperature at which"),
        ("", None, None, "empty"),
        ("time [min],density,density_temp\n", None, None, "at least one sample"),
        ("time [min],density,density_temp\n" + "0,1.45,21\n" * 1001, None, None, "at most 1000 samples"),
    ],
)
def test_faults_of_the_table(tmp_path, samples, row, column, word):
    found = faults(tmp_path, samples=samples)[0]
    assert (found.row, found.column) == (row, column)
    assert word in found.expected
    assert found.file is not None
    assert found.file.endswith("aliquots.csv")


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("[level]", "[levels]", "did you mean 'level'"),
        ('"ethanol"]', '"etanol"]', "ethanol"),
        ('components = ["chloroform", "ethanol"]', "", "the substances in the samples"),
        ('"chloroform", "ethanol"]', '"chloroform"]', "two or more"),
        ('"ethanol"]', '"ethanol", "acetone", "toluene"]', "two components, or three"),
        ('"ethanol"]', '"ethanol", "acetone"]', "a column refractive_index"),
        ('follow = "ethanol"', 'follow = "acetone"', "one of the run's components"),
        ('interval = "30 min"', "", "interval as well"),
        ('tolerance = "0.5 wt%"', 'tolerance = "0.5 %"', "wt%"),
        ('tolerance = "0.5 wt%"', "tolerance = 0.5", "its unit in quotation marks"),
        ('interval = "30 min"', 'interval = "0 min"', "more than 0"),
        ("[run]", "[run", "TOML"),
    ],
)
def test_faults_of_the_sheet(tmp_path, old, new, word):
    assert old in SHEET
    assert any(word in fault.expected for fault in faults(tmp_path, sheet=SHEET.replace(old, new)))


def test_faults_of_both_files_at_once(tmp_path):
    found = faults(
        tmp_path,
        sheet=SHEET.replace("30 min", "30 mL"),
        samples="time [min],density,density_temp\n0,x,21\n5,1.45,\n",
    )
    assert len(found) == 3
    assert [Path(fault.file or "").name for fault in found] == ["aliquots.toml", "aliquots.csv", "aliquots.csv"]


def test_missing_files(tmp_path):
    assert "aliquots.toml in it" in faults_of(tmp_path)
    assert "a file that exists" in faults_of(tmp_path / "none.toml")
    assert "a file that exists" in faults(tmp_path, samples=None)[0].expected


def faults_of(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        load_aliquots(path)
    return str(caught.value)
