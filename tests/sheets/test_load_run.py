"""A good run: what the sheets say arrives in SI; the same sheet saved in other ways gives the same arrays."""

from __future__ import annotations

import dataclasses
import datetime
import itertools
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fractionkit.errors import Fault, InputError
from fractionkit.sheets import CutTable, Run, load_run
from fractionkit.sheets.columns import SPECS
from fractionkit.sheets.cuts import read_cuts
from fractionkit.sheets.faults import Faults
from tests.sheets.sheet_files import CUTS, RUN, changed, write

ARRAYS = tuple(field.name for field in dataclasses.fields(CutTable) if field.name not in ("names", "notes"))


def table(text: str) -> CutTable:
    """A table that must be free of faults."""
    faults = Faults("cuts.csv")
    cuts = read_cuts(text, faults)
    assert cuts is not None
    assert [str(fault) for fault in faults.all()] == []
    return cuts


def assert_same(one: CutTable, other: CutTable) -> None:
    assert (one.names, one.notes) == (other.names, other.notes)
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)


def test_values_arrive_in_si(tmp_path):
    run = load_run(write(tmp_path))
    assert run.title == "Charge 7"
    assert run.date == datetime.date(2026, 5, 9)
    assert run.components == ("trichloroethylene", "tetrachloroethylene")
    assert (run.folder, run.source) == (tmp_path, tmp_path / "run.toml")
    assert run.pressure.station is not None
    assert run.pressure.station.value == pytest.approx(98600.0)
    # 95 % of a normal distribution lies within 1.959964 standard deviations (tables of the normal distribution)
    assert run.pressure.station.u == pytest.approx(400.0 / 1.959964)
    assert run.thermometer.bias == pytest.approx(0.8 / 1.959964)
    assert run.thermometer.repeat == pytest.approx(0.3 / 1.959964)
    assert run.density.bias == pytest.approx(0.8 / 1.959964)
    assert run.density.repeat == pytest.approx(1.0 / 1.959964)
    assert run.charge is not None
    assert run.charge.mass is not None
    assert run.charge.mass.value == pytest.approx(1.48)
    assert run.residue is not None
    assert run.target is not None
    assert (run.target.purity, run.target.confidence) == (pytest.approx(0.99), 0.95)
    (test,) = run.tests
    assert (test.cut, test.component, test.result) == ("C2", "trichloroethylene", "negative")
    assert test.detection_limit == pytest.approx(0.003)
    cuts = run.cuts
    assert cuts.names == ("C1", "C2", "C3")
    assert cuts.notes == ("forerun", "", "")
    np.testing.assert_array_equal(cuts.row, [2, 3, 4])
    np.testing.assert_allclose(cuts.head_start, np.array([87.8, 88.8, 92.2]) + 273.15)
    np.testing.assert_allclose(cuts.mass, [0.1762, 0.1689, 0.1427])
    np.testing.assert_allclose(cuts.density, [1469.3, 1476.9, 1497.9])
    np.testing.assert_allclose(cuts.density_temperature, np.array([21.5, 21.5, 21.4]) + 273.15)
    assert list(cuts.density_kind) == ["density"] * 3
    assert np.isnan(cuts.volume).all()
    assert np.isnan(cuts.sg_basis).all()


def test_names_synonyms_and_cas_numbers_become_the_catalogues_names(tmp_path):
    # CAS numbers 79-01-6 and 127-18-4: trichloroethylene and tetrachloroethylene (labels of every bottle)
    run = changed(RUN, '["trichloroethylene", "tetrachloroethylene"]', '["127-18-4", "TCE"]')
    loaded = load_run(write(tmp_path, run))
    assert loaded.components == ("tetrachloroethylene", "trichloroethylene")


def test_the_rest_of_the_sections(tmp_path):
    run = changed(RUN, 'station = "98.6 ± 0.4 kPa"', 'sea_level = "1019 hPa"\naltitude = "640 m"')
    run = changed(
        run,
        'bias = "0.8 degC"',
        'ice_point = "0.3 °C"\nstem = { exposed = 60, temperature = "30 degC" }',
    )
    run = changed(
        run,
        'bias = "0.0008 g/mL"',
        'vessel = "pycnometer"\nempty_mass = "30 g"\nwater_mass = "55 g"\nwater_temp = "20 °C"\n'
        'thermometer_bias = "0.2 K"',
    )
    run = changed(run, 'mass = "61 g"', 'volume = "41 mL"\ndensity = "1.6 sg20/20"\ndensity_temp = "20 °C"')
    run = changed(run, "date = 2026-05-09", 'order = "any"')
    run += '\n[[result]]\ncut = "C2"\ncomponent = "perc"\nfraction = "97 ± 1 wt%"\n'
    run += '\n[holdup]\nmass = "5 ± 2 g"\n[refractive_index]\nbias = 0.0005\nrepeat = "0,0002"\n'
    loaded = load_run(write(tmp_path, run, "cut,volume,filled_mass,density_temp\nC2,100,66,20\n"))
    assert loaded.pressure.sea_level is not None
    assert loaded.pressure.altitude is not None
    assert (loaded.pressure.sea_level.value, loaded.pressure.altitude.value) == (101900.0, 640.0)
    stem = loaded.thermometer.stem
    assert stem is not None
    assert (stem.exposed, stem.temperature, stem.liquid) == (60.0, pytest.approx(303.15), "mercury")
    assert loaded.density.method == "pycnometer"
    assert (loaded.density.empty_mass, loaded.density.water_mass) == (pytest.approx(0.030), pytest.approx(0.055))
    assert loaded.density.thermometer_bias == pytest.approx(0.2 / 1.959964)
    assert loaded.residue is not None
    assert loaded.residue.density is not None
    assert loaded.residue.density.basis == (20.0, 20.0)
    assert loaded.holdup is not None
    assert loaded.holdup.value == pytest.approx(0.005)
    assert loaded.refractive_index.bias == pytest.approx(0.0005 / 1.959964)
    assert loaded.refractive_index.repeat == pytest.approx(0.0002 / 1.959964)
    assert np.isnan(loaded.cuts.mass).all()  # a volume is not turned into a mass here
    np.testing.assert_allclose(loaded.cuts.filled_mass, [0.066])
    assert not loaded.ordered
    (result,) = loaded.results
    assert (result.cut, result.component) == ("C2", "tetrachloroethylene")
    assert result.fraction.value == pytest.approx(0.97)


@pytest.mark.parametrize("sign", ["±", "± ", "+/- ", "+-"])
def test_a_half_width_may_carry_its_sign(tmp_path, sign):
    run = changed(RUN, 'bias = "0.8 degC"', f'bias = "{sign}0.8 degC"')
    run = changed(run, 'bias = "0.0008 g/mL"', f'bias = "{sign}0.0008 g/mL"')
    read = load_run(write(tmp_path, run))
    assert read.thermometer.bias == pytest.approx(0.8 / 1.959964, rel=1e-6)  # 95 % of a normal distribution
    assert read.density.bias == pytest.approx(0.8 / 1.959964, rel=1e-6)


def test_units_in_headers_and_in_cells():
    cuts = table(
        "Cut,Head-start [F],head_end,mass [lb],density [kg/m³],density_temp\n"
        "a,142.16,62 °C,0.5,1469.3,20\n"
        "b,150 °F,70,3 oz,1.482 sg20/20,68 F\n"
        "c,,,12,1.5 g/mL,20\n"
    )
    # 142.16 °F = (142.16 - 32) * 5/9 °C = 61.2 °C; 150 °F = 65.556 °C; pound and ounce of NIST SP 811
    np.testing.assert_allclose(cuts.head_start, [334.35, 150 / 1.8 + 459.67 / 1.8, np.nan])
    np.testing.assert_allclose(cuts.mass, [0.226796185, 3 * 0.028349523125, 12 * 0.45359237])
    np.testing.assert_allclose(cuts.density, [1469.3, 1.482, 1500.0])
    assert list(cuts.density_kind) == ["density", "sg", "density"]
    np.testing.assert_array_equal(cuts.sg_basis, [[np.nan] * 2, [20, 20], [np.nan] * 2])
    np.testing.assert_allclose(cuts.density_temperature, 293.15)


@pytest.mark.parametrize(
    "header",
    [
        "cut,head_start F,Head end °F,mass lb,density kg/m³,density_temp C",
        "cut,head_start_F,head_end_F,mass_lb,density_kg_m3,density_temp_C",
    ],
)
def test_a_unit_may_stand_in_the_header_without_brackets(header):
    cuts = table(header + "\na,142.16,150,0.5,1469.3,20\n")
    np.testing.assert_allclose(cuts.head_start, [334.35])  # as with brackets, above
    np.testing.assert_allclose(cuts.head_end, [150 / 1.8 + 459.67 / 1.8])
    np.testing.assert_allclose(cuts.mass, [0.226796185])
    np.testing.assert_allclose(cuts.density, [1469.3])
    np.testing.assert_allclose(cuts.density_temperature, 293.15)


def test_specific_gravity_as_the_unit_of_a_column():
    cuts = table("cut,mass,density [sg25/25],density_temp\na,1,1.48,25\nb,1,,\n")
    assert list(cuts.density_kind) == ["sg", ""]
    np.testing.assert_array_equal(cuts.sg_basis, [[25, 25], [np.nan, np.nan]])


def saved(text: str, separator: str, comma: bool, end: str, encoding: str, tail: str) -> bytes:
    """The table as a spreadsheet might save it."""
    lines = []
    for line in text.splitlines():
        cells = [cell.replace(".", ",") if comma and index else cell for index, cell in enumerate(line.split(","))]
        lines.append(separator.join(f'"{cell}"' if separator in cell else cell for cell in cells))
    return (end.join(lines) + tail.replace("\n", end)).encode(encoding)


WAYS = list(
    itertools.product(
        (";", "\t", ","), (False, True), ("\n", "\r\n"), ("utf-8", "utf-8-sig", "cp1252", "utf-16"),
        ("", "\n", "\n\n   \n", "\nSEPSEPSEP\n"),
    )
)  # fmt: skip


@pytest.mark.parametrize("separator, comma, end, encoding, tail", WAYS)
def test_the_same_sheet_saved_in_other_ways_gives_the_same_arrays(separator, comma, end, encoding, tail, tmp_path):
    text = CUTS.replace("forerun", "trüb ½ bei 87 °C").replace("C2", "C² „x“")
    data = saved(text, separator, comma, end, encoding, tail.replace("SEP", separator))
    run = load_run(write(tmp_path, RUN.split("[[test]]")[0], data))
    assert_same(run.cuts, table(text))


def test_spaces_blank_rows_and_the_separator_line():
    text = "sep=;\n\n cut ; mass [g] ; note;;\n\n A 1 ;  3,5 ; a;;\n ;;;;\n B;1,480; ;;\n\n"
    cuts = table(text)
    assert cuts.names == ("A 1", "B")
    np.testing.assert_array_equal(cuts.row, [5, 7])
    np.testing.assert_allclose(cuts.mass, [0.0035, 0.00148])  # a semicolon separates: the comma is decimal


def test_the_sheet_of_the_run_may_be_in_windows_1252(tmp_path):
    write(tmp_path)
    (tmp_path / "run.toml").write_bytes(RUN.replace("\n", "\r\n").encode("cp1252"))
    station = load_run(tmp_path / "run.toml").pressure.station
    assert station is not None
    assert station.u is not None


def test_names_and_notes_may_hold_anything():
    name = "<b>Ü</b> {{7*7}} 'x' \"y\", ; \t % $(ls) 🧪"
    cell = '"' + name.replace('"', '""') + '"'
    cuts = table(f"cut,mass,note\n{cell},3,{cell}\n=1+1,4,-\n")
    assert cuts.names == (name, "=1+1")
    assert cuts.notes == (name, "-")


NUMBER = st.floats(0.6, 3.4).map(lambda number: f"{number:.5f}")
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(TEXT, NUMBER, NUMBER, TEXT), min_size=1, max_size=8), st.sampled_from(";\t,"), st.booleans())
def test_what_a_csv_writer_writes_is_read_back(rows, separator, comma):
    import csv
    import io

    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=separator, quoting=csv.QUOTE_ALL)
    writer.writerow(["cut", "mass", "density", "density_temp", "note"])
    for number, (name, mass, density, note) in enumerate(rows):
        numbers = [text.replace(".", ",") if comma else text for text in (mass, density, "20.5")]
        writer.writerow([f"{number} {name}", *numbers, note])
    cuts = table(stream.getvalue())
    assert cuts.names == tuple(f"{number} {name}".strip() for number, (name, *_) in enumerate(rows))
    assert cuts.notes == tuple(note.strip() for *_, note in rows)
    np.testing.assert_allclose(cuts.mass, [float(mass) / 1000 for _, mass, _, _ in rows], rtol=1e-12)
    np.testing.assert_allclose(cuts.density, [float(density) * 1000 for _, _, density, _ in rows], rtol=1e-12)


PIECES = st.sampled_from(
    [*SPECS, "cut", "note", ",", ";", "\t", "\n", "\r\n", "\r", '"', "1.4", "87,8", "-3", "1e400", "NaN", "[kg/m3]",
     "[", "]", "(", "± 0.2", "sg20/20", "°C", "C1", " ", "\x1c", "\u2028", "٣", "²", "sep=;\n", "1_000"]
)  # fmt: skip
ANY_TABLE = st.one_of(
    st.text(max_size=300),
    st.lists(PIECES, max_size=60).map("".join),
    st.lists(PIECES, max_size=60).map(lambda pieces: CUTS + "".join(pieces)),
)


def read(folder: Path) -> tuple[Run | None, tuple[Fault, ...]]:
    """The run, or its faults; any other exception than InputError fails the test."""
    try:
        return load_run(folder), ()
    except InputError as error:
        return None, error.faults


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(ANY_TABLE.map(lambda text: text.encode("utf-8", "surrogatepass")), st.binary(max_size=200)))
def test_any_bytes_as_the_table_raise_nothing_but_input_errors(tmp_path, data):
    run, faults = read(write(tmp_path, RUN, data))
    assert all(fault.expected for fault in faults)
    if run is None:
        assert faults
    else:
        assert len(run.cuts) >= 1
        assert not any(np.isinf(getattr(run.cuts, name.replace("_temp", "_temperature"))).any() for name in SPECS)


ANY_RUN = st.one_of(
    st.text(max_size=300),
    st.tuples(st.integers(0, len(RUN)), st.integers(0, 40), st.text(max_size=20)).map(
        lambda cut: RUN[: cut[0]] + cut[2] + RUN[cut[0] + cut[1] :]
    ),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ANY_RUN.map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_as_run_toml_raise_nothing_but_input_errors(tmp_path, data):
    write(tmp_path)
    (tmp_path / "run.toml").write_bytes(data)
    run, faults = read(tmp_path)
    assert (run is None) == bool(faults)
    assert run is None or len(run.components) >= 2


def long_table(cuts: int) -> str:
    rows = (f"C{i},61.{i % 10},62.5,{100 + i % 7}.5,1.4{i % 100:02d},20.{i % 5},a note" for i in range(cuts))
    return "cut,head_start,head_end,mass,density,density_temp,note\n" + "\n".join(rows) + "\n"


def test_the_time_of_a_long_table_grows_linearly():
    def seconds(text: str) -> float:
        best = np.inf
        for _ in range(3):
            start = time.perf_counter()
            table(text)
            best = min(best, time.perf_counter() - start)
        return best

    # ten times the rows: ten times the time, with room for a busy machine; quadratic would be a hundred
    assert seconds(long_table(10_000)) < 30 * seconds(long_table(1_000))
