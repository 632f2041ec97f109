"""Every fault of cuts.csv, with its row as an editor counts it."""

from __future__ import annotations

import numpy as np
import pytest

from fractionkit import assess
from fractionkit.sheets import load_run
from tests.sheets.sheet_files import CUTS, RUN, changed, faults, write

HEADER = CUTS.splitlines()[0]

# the table; row and column of the fault; the value found; words of the message
CASES = {
    "column misspelt": (changed(CUTS, "density_temp", "dens_temp"), 1, "dens_temp", "dens_temp", "'density_temp'"),
    "no cut column": ("id,mass\nC1,3\n", 1, "cut", None, "name of each cut"),
    "no amount column": ("cut,head_start\nC1,60\n", 1, "mass", None, "mass (g) or volume (mL)"),
    "column twice": (changed(CUTS, "head_end", "head_start"), 1, "head_start", "head_start", "each column once"),
    "text for a number": (changed(CUTS, "176.2", "abc"), 2, "mass", "abc", "leave the cell empty"),
    "NaN": (changed(CUTS, "176.2", "NaN"), 2, "mass", "NaN", "leave the cell empty"),
    "infinite": (changed(CUTS, "176.2", "inf"), 2, "mass", "inf", "leave the cell empty"),
    "negative mass": (changed(CUTS, "176.2", "-176.2"), 2, "mass", "-176.2", "more than 0"),
    "zero mass": (changed(CUTS, "176.2", "0"), 2, "mass", "0", "more than 0"),
    "huge mass": (changed(CUTS, "176.2", "1e300"), 2, "mass", "1e300", "at most 1000 kg"),
    "digits without end": (changed(CUTS, "176.2", "9" * 400), 2, "mass", "999", "at most 1000 kg"),
    "volume as mass": (changed(CUTS, "176.2", "176.2 mL"), 2, "mass", "176.2 mL", "unit of volume"),
    "a range": (changed(CUTS, "176.2", "170-180"), 2, "mass", "170-180", "not a range"),
    "± in a cell": (changed(CUTS, "87.8", "87.8 ± 0.2"), 2, "head_start", "87.8 ± 0.2", "run.toml"),
    "comma of two meanings": ('cut,mass\nC1,"1,480"\n', 2, "mass", "1,480", "1.480 or 1480"),
    "density without temperature": (changed(CUTS, "1.4769,21.5", "1.4769,"), 3, "density_temp", None, "temperature"),
    "no temperature column": ("cut,mass,density\nC1,3,1.4\nC2,3,1.4\n", 1, "density_temp", None, "a column density"),
    "density in kg/m3": (changed(CUTS, "1.4693", "1469.3"), 2, "density", "1469.3", "density [kg/m3]"),
    "gravity without basis": (changed(CUTS, "1.4693", "1.469 sg"), 2, "density", "1.469 sg", "needs its basis"),
    "head falls": (changed(CUTS, "87.8", "89.9"), 2, "head_start", "89.9", "1 K at most"),
    "head falls, its end": (changed(CUTS, "87.8", "89.9"), 2, "head_start", "89.9", "(head_end is 88.8)"),
    "range upside down": (
        "cut,mass,range_start,range_end\nC1,3,80,79.5\n", 2, "range_start", "80", "(range_end is 79.5)",
    ),
    "head too hot": (changed(CUTS, "92.2,101.6", "361,371"), 4, "head_start", "361", "head_start [F]"),
    "head too cold": (changed(CUTS, "87.8", "-51"), 2, "head_start", "-51", "from -50 to 300 °C"),
    "sample temperature in °F": (
        changed(CUTS, "1.4693,21.5", "1.4693,70.7"), 2, "density_temp", "70.7", "density_temp [F]",
    ),
    "unit of another kind in the header": (
        changed(CUTS, "density,", "density [kg],"), 1, "density", "density [kg]", "unit of mass",
    ),
    "no cut": (HEADER + "\n", None, None, None, "at least one cut"),
    "empty file": ("", None, None, None, "the file is empty"),
    "blank file": ("\n \n\n", None, None, None, "the file is empty"),
    "too many cuts": ("cut,mass\n" + "".join(f"C{i},3\n" for i in range(10_001)), None, None, "10001", "at most 10000"),
    "name twice": (changed(CUTS, "C3", "C1"), 4, "cut", "C1", "row 2 has it too"),
    "name blank": (changed(CUTS, "C3", "  "), 4, "cut", None, "a name for each cut"),
    "neither mass nor volume": (changed(CUTS, "176.2", ""), 2, "mass", None, "a mass or a volume"),
    "row too long": (changed(CUTS, "forerun", "fore,run"), 2, None, "8 cells", "7 cells as in the header"),
    "row too short": (changed(CUTS, ",forerun", ""), 2, None, "6 cells", "7 cells as in the header"),
    "a comma in a note": (changed(CUTS, "forerun", "milky, parted"), 2, None, "8 cells", "a note) stands in quotation"),
    "column by another name": (changed(CUTS, ",note", ",Remarks"), 1, "Remarks", "Remarks", "did you mean 'note'?"),
    "bare decimal comma": (changed(CUTS, "87.8", "87,8"), 2, None, "8 cells", "decimal comma"),
    "quotation mark not closed": (changed(CUTS, "forerun", '"forerun'), 2, None, None, "quotation mark"),
    "quotation mark inside": (changed(CUTS, "forerun", '"fore"run'), 2, None, None, "quotation mark"),
    "value without header": ("cut,mass,\nC1,3,\nC2,3,4\n", 3, "3", "4", "a name over this column"),
    "index below 1": (
        "cut,mass,refractive_index,refractive_temp\nC1,3,0.9,20\n", 2, "refractive_index", "0.9", "refractive index",
    ),
    "index above 2": (
        "cut,mass,refractive_index,refractive_temp\nC1,3,2.1,20\n", 2, "refractive_index", "2.1", "between 1 and 2",
    ),
    "sugar scale": (
        "cut,mass,refractive_index,refractive_temp\nC1,3,14.4,20\n", 2, "refractive_index", "14.4", "between 1 and 2",
    ),
    "index without temperature": (
        "cut,mass,refractive_index,refractive_temp\nC1,3,1.44,\n", 2, "refractive_temp", None, "temperature",
    ),
    "filled, no vessel": ("cut,mass,filled_mass,density_temp\nC1,3,55,20\n", 2, "filled_mass", None, "empty_mass"),
    "filled vessel without temperature": ("cut,mass,filled_mass\nC1,3,55\n", 1, "density_temp", None, "filled"),
    "density and filled vessel": (
        "cut,mass,filled_mass,density,density_temp\nC1,3,55,1.4,20\n", 2, "filled_mass", "55", "not both",
    ),
    "a spreadsheet": (b"PK\x03\x04\x14\x00", None, None, None, "save the table as CSV"),
    "no text": (b"cut,mass\nC1,3\nC\x00,4\n", 3, None, None, "UTF-8"),
    "no encoding": (b"cut,mass\nC1,3\nC\x81,4\n", 3, None, None, "UTF-8"),
}  # fmt: skip
RUN_ALONE = RUN.split("[[test]]")[0]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case)
def test_a_fault_is_told_with_place_value_and_expectation(case, tmp_path):
    cuts, row, column, value, words = CASES[case]
    found = faults(write(tmp_path, RUN_ALONE, cuts))
    told = [fault for fault in found if words in fault.expected]
    assert told, [str(fault) for fault in found]
    fault = told[0]
    assert (fault.row, fault.column) == (row, column)
    assert fault.file == str(tmp_path / "cuts.csv")
    if value is None:
        assert fault.value is None
    else:
        assert fault.value is not None
        assert fault.value.startswith(value)


VESSEL = 'vessel = "pycnometer"\nempty_mass = "30 g"\nwater_mass = "55 g"\nwater_temp = "20 °C"'
FILLED = "cut,mass,filled_mass,density_temp\nC1,3,67.1,20\nC2,3,{},20\n"


@pytest.mark.parametrize("filled, implied", [("29", "-0.04"), ("671", "25.6"), ("35", "0.2")])
def test_a_filled_vessel_must_give_a_density_that_a_liquid_has(filled, implied, tmp_path):
    run = changed(RUN_ALONE, 'bias = "0.0008 g/mL"', VESSEL)
    (fault,) = faults(write(tmp_path, run, FILLED.format(filled)))
    assert (fault.row, fault.column) == (3, "filled_mass")
    assert f"about {implied} g/mL" in fault.expected


def test_a_meter_is_not_weighed(tmp_path):
    run = changed(RUN_ALONE, 'bias = "0.0008 g/mL"', VESSEL.replace('vessel = "pycnometer"', 'method = "meter"'))
    (fault,) = faults(write(tmp_path, run, FILLED.format("67")))
    assert "meter" in fault.expected


def test_all_faults_of_the_table_at_once(tmp_path):
    cuts = HEADER + "\nC1,87.8,88.8,-1,1.4693,,\n\nC1,110,92.2,x,1.4769,21.5,\n,92.2,101.6,9,4.4,21.4,\n"
    found = faults(write(tmp_path, RUN_ALONE, cuts))
    assert [(fault.row, fault.column) for fault in found] == [
        (2, "mass"), (2, "density_temp"), (4, "mass"), (4, "cut"), (4, "head_start"), (5, "density"), (5, "cut"),
    ]  # fmt: skip


def test_a_column_that_is_meant_is_not_missed_as_well(tmp_path):
    """One slip, one message: "Weight (g)" is the mass, "Temp" the temperature of the density."""
    cuts = "Cut no.,Weight (g),Density,Temp\nC1,176.2,1.4693,21.5\n"
    found = faults(write(tmp_path, RUN_ALONE, cuts))
    assert [(fault.column, fault.expected.rpartition("; ")[2]) for fault in found] == [
        ("Cut no.", "did you mean 'cut'?"),
        ("Weight (g)", "did you mean 'mass'?"),
        ("Temp", "did you mean 'density_temp'?"),
    ]
    assert sum("refractive_index" in fault.expected for fault in found) == 1  # all columns are listed once


PLATEAU = changed(CUTS, "88.8,92.2", "88.9,88.4")


def test_on_a_plateau_the_later_reading_may_be_the_lower_one(tmp_path):
    run = load_run(write(tmp_path, RUN_ALONE, PLATEAU))
    assert run.cuts.head_start[1] - 273.15 == pytest.approx(88.9)
    assert run.cuts.head_end[1] - 273.15 == pytest.approx(88.4)


def test_what_was_read_on_a_plateau_in_either_order_says_the_same(tmp_path):
    """The order of two readings of one temperature is chance, so no composition may hang on it."""
    told = []
    for name, cuts in (("down", PLATEAU), ("up", changed(CUTS, "88.8,92.2", "88.4,88.9"))):
        (tmp_path / name).mkdir()
        told.append(assess(load_run(write(tmp_path / name, RUN_ALONE, cuts))))
    down, up = (run.table.select_dtypes("number").to_numpy() for run in told)
    np.testing.assert_allclose(down, up, atol=1e-9)


def test_with_the_reflux_raised_midway_a_head_may_fall_far(tmp_path):
    falling = changed(CUTS, "88.8,92.2", "95.8,88.4")
    run = changed(RUN_ALONE, "date = 2026-05-09", 'date = 2026-05-09\norder = "any"')
    assert load_run(write(tmp_path, run, falling)).cuts.head_end[1] - 273.15 == pytest.approx(88.4)


def test_a_column_wrong_throughout_is_listed_ten_times_and_counted(tmp_path):
    cuts = "cut,mass,head_start [K]\n" + "".join(f"C{i},3,61.{i}\n" for i in range(50))
    found = faults(write(tmp_path, RUN_ALONE, cuts))
    assert len(found) == 11
    assert [fault.row for fault in found[:10]] == list(range(2, 12))
    assert "40 more rows" in found[-1].expected


def test_a_row_of_several_lines_does_not_shift_the_count(tmp_path):
    cuts = 'cut,mass,note\r\nC1,3,"two\r\nlines"\r\nC2,0,\r\n'
    (fault,) = faults(write(tmp_path, RUN_ALONE, cuts))
    assert (fault.row, fault.column, fault.value) == (4, "mass", "0")


@pytest.mark.parametrize(
    "missing", ["folder", "run.toml", "cuts.csv", "cuts is a folder", "NUL in a path", "name too long"]
)
def test_files_that_are_not_there(missing, tmp_path):
    folder = tmp_path / "run"
    folder.mkdir()
    if missing == "folder":
        (fault,) = faults(tmp_path / "nowhere" / "run.toml")
        assert "there is no folder" in fault.expected
    elif missing == "run.toml":
        (fault,) = faults(folder)
        assert "run.toml" in fault.expected
        assert fault.file == str(folder)
    elif missing == "cuts.csv":
        (folder / "kuts.csv").write_text(CUTS)
        (fault,) = faults(write(folder, RUN_ALONE, None))
        assert fault.file == str(folder / "cuts.csv")
        assert "in that folder: kuts.csv" in fault.expected
    elif missing == "cuts is a folder":
        (folder / "cuts.csv").mkdir()
        (fault,) = faults(write(folder, RUN_ALONE, None))
        assert "this is a folder" in fault.expected
    else:
        assert faults(folder / ("a\0b" if missing == "NUL in a path" else "a" * 5000))
