"""`fractionkit lot` as a user runs it: outputs, JSON against its schema, exit codes, 80 columns, hostile texts, the stock."""

from __future__ import annotations

import json
import shutil
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
import typer
from rich.cells import cell_len

from fractionkit.cli import lot
from fractionkit.errors import FractionkitError
from fractionkit.report.lot_document import SCHEMA_FILE
from fractionkit.sheets import load_run
from fractionkit.stock import open_stock
from tests.release.once import assess_once, each_once  # noqa: F401

DATA = Path(__file__).parents[2] / "data"
SCHEMA = json.loads(files("fractionkit.report").joinpath(SCHEMA_FILE).read_text(encoding="utf-8"))


@pytest.fixture
def call(capfd, monkeypatch):
    """Run `lot …`: exit code, standard output, standard error, as the program gives them, the solver's included."""
    monkeypatch.setenv("COLUMNS", "80")
    app = typer.Typer(pretty_exceptions_enable=False, rich_markup_mode=None)
    app.command("lot")(lot.command)

    def run(*arguments):
        code = 0
        try:
            app([*map(str, arguments)], standalone_mode=True)
        except SystemExit as stop:
            code = int(stop.code or 0)
        except FractionkitError as error:  # as the program's entry does
            code = error.exit_code
            print(f"fractionkit: {error}", file=sys.stderr)
        shown = capfd.readouterr()
        return code, shown.out, shown.err

    return run


@pytest.fixture
def sheet(tmp_path):
    shutil.copytree(DATA / "demo_lot", tmp_path / "lot")
    shutil.copytree(DATA / "demo_binary", tmp_path / "demo_binary")
    return tmp_path / "lot" / "LOT.toml"


def test_the_demo_sheet_in_80_columns(call):
    code, out, err = call(DATA / "demo_lot")
    assert (code, err) == (0, "")
    assert max(cell_len(line.rstrip()) for line in out.splitlines()) <= 80
    flat = " ".join(out.split())
    for text in (
        "L-2026-05-10-1: 21",
        "Tetrachloroethylene, reclaimed by distillation",
        "not by chromatography",
        "grade Laboratory",
        "thymol, 0.01 wt% added again on 2026-05-10; test again by 2026-11-10",
        "what it would take",
        "more like C8",
        "recovering costs in all",
        "another pass does not pay",
        "Local rules and licensed practice come first.",
    ):
        assert text in flat, text


def test_runs_in_place_of_a_sheet(call):
    code, out, _ = call(DATA / "demo_binary", "--json", "-")
    assert code == 0
    told = json.loads(out)  # nothing else on standard output
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(told, SCHEMA)
    (made,) = told["lots"]
    assert made["target"] == {"component": "tetrachloroethylene", "purity": 0.99, "confidence": 0.95}
    assert made["meets_target"] is True
    assert made["probability_meets_target"] >= 0.95
    run = assess_once(load_run(DATA / "demo_binary"))
    cuts = {cut.name: 1e3 * cut.mass for cut in run.cuts}
    for name, mass in cuts.items():
        taken = sum(parent["mass_g"] for parent in made["parents"] if parent["name"] == name)
        rest = sum(left["mass_g"] for left in told["left"] if left["name"] == name)
        assert taken + rest == pytest.approx(mass)


def test_files(call, sheet, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    paths = {key: out / f"lot.{key}" for key in ("json", "html", "pdf")} | {"label": out / "label.pdf"}
    code, shown, err = call(
        sheet,
        *("--json", paths["json"], "--report", paths["html"], "--pdf", paths["pdf"]),
        *("--label", paths["label"], "--label-size", "90x60"),
    )
    assert (code, err) == (0, "")
    told = json.loads(paths["json"].read_text(encoding="utf-8"))
    jsonschema.validate(told, SCHEMA)
    assert [(test["attribute"], test["result"]) for test in told["lots"][0]["tests"]] == [
        ("water", "0.004 ± 0.002 wt%"),
        ("acidity", "neutral"),
    ]
    for path in (paths["pdf"], paths["label"]):
        assert path.read_bytes().startswith(b"%PDF")
    assert "L-2026-05-10-2" in paths["html"].read_text(encoding="utf-8")
    code, _, _ = call(sheet, "--label", out / "label.html")
    assert "L-2026-05-10-2" in (out / "label.html").read_text(encoding="utf-8")
    assert all(f"written: {path}" in shown for path in paths.values())


def test_texts_of_a_user_are_only_text(call, sheet):
    hostile = "[bold red]<script>alert(1)</script>\u001b[31m &amp;"
    typed = sheet.read_text(encoding="utf-8").replace(
        "Perchloroethylene from charge 7 (invented)", "[bold red]<script>alert(1)</script>\\u001b[31m &amp;"
    )
    sheet.write_text(typed.replace("dark, below 25 °C", "[/]dark"), encoding="utf-8")
    page = sheet.with_name("page.html")
    code, out, _ = call(sheet, "--report", page)
    assert code == 0
    assert "[bold red]<script>" in out
    assert "\u001b" not in out
    assert hostile not in page.read_text(encoding="utf-8")
    assert "<script>" not in page.read_text(encoding="utf-8")


def test_nothing_meets_the_target(call):
    code, out, _ = call(DATA / "demo_ternary")
    assert code == 0
    assert "Nothing can be kept as 95 wt% 1,2-dichloroethane" in " ".join(out.split())


@pytest.mark.parametrize(
    "arguments, expected",
    [
        ((DATA / "demo_lot", DATA / "demo_binary"), "one sheet of a lot, or runs only"),
        ((DATA / "nowhere",), "nowhere"),
        ((DATA / "demo_binary", DATA / "demo_binary"), "each run once"),
        ((DATA / "demo_lot", "--label-size", "7", "--label", "x.html"), "like 100x70"),
        ((DATA / "demo_lot", "--report", DATA), "not a folder"),
        ((DATA / "demo_lot", "--report", "lot.pdf"), "--pdf writes the report as PDF"),
    ],
)
def test_wrong_input(call, arguments, expected, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = call(*arguments)
    assert code == 2
    assert expected in err
    assert out == ""
    assert not list(tmp_path.iterdir())


def test_no_lot_of_readings_at_odds(call, sheet, tmp_path):
    """A pressure of 80 kPa in place of 98.6, by a thermometer good to 0.1 K: nothing may be labelled."""
    run = sheet.parents[1] / "demo_binary" / "run.toml"
    text = run.read_text(encoding="utf-8").replace("98.6 ± 0.4 kPa", "80.0 ± 0.1 kPa").replace("0.8 degC", "0.1 degC")
    run.write_text(text, encoding="utf-8")
    page = tmp_path / "page.html"
    code, out, err = call(sheet, "--report", page)
    assert code == 1
    assert "no lot can be made: the readings of Parts-washer recovery" in err
    assert out == ""
    assert not page.exists()


def test_faults_of_sheet_and_runs_at_once(call, sheet):
    sheet.write_text(
        sheet.read_text(encoding="utf-8").replace('"99 wt%"', '"99"').replace("3 h", "3"), encoding="utf-8"
    )
    code, _, err = call(sheet)
    assert code == 2
    assert "row 13, [[target]] purity" in err
    assert "[economics] labour" in err


def test_booked_in_the_stock_and_made_of_its_bottles(call, sheet, tmp_path, monkeypatch):
    book = tmp_path / "shelf.db"
    monkeypatch.setenv("FRACTIONKIT_STOCK", str(book))
    with open_stock(book, create=True) as stock:
        stock.enter(assess_once(load_run(sheet.parents[1] / "demo_binary")))
    code, out, err = call(sheet, "--book")
    assert (code, err) == (0, "")
    assert "booked: L-2026-05-10-1, L-2026-05-10-2" in out
    with open_stock(book, write=False) as stock:
        first = stock.holding("L-2026-05-10-1")
        assert first.composition["tetrachloroethylene"].estimate > 0.99
        rest = 1e3 * stock.holding("C7").mass
        assert 1e3 * first.mass == pytest.approx(
            174.3 + 229.1 - rest, abs=0.1
        )  # C8 and a part of C7, as weighed in the sheet
        assert 1e3 * first.mass > 180.0
    code, out, err = call(sheet, "--book")  # the cuts are gone: nothing is booked twice
    assert code == 2
    with open_stock(book, write=False) as stock:
        assert 1e3 * stock.holding("C7").mass == pytest.approx(rest)
    again = tmp_path / "again.toml"
    again.write_text(
        '[lot]\nbottles = ["L-2026-05-10-1", "C7"]\ndate = 2026-06-01\n'
        '[[target]]\ncomponent = "tetrachloroethylene"\npurity = "98.5 wt%"\n',
        encoding="utf-8",
    )
    code, out, err = call(again, "--book", "--json", "-")
    assert (code, err) == (0, "")
    (made,) = json.loads(out)["lots"]
    assert made["number"] == "L-2026-06-01-1"
    assert {parent["origin"] for parent in made["parents"]} == {"shelf"}
    assert made["mass_g"] > 1e3 * first.mass
    with open_stock(book, write=False) as stock:
        assert 1e3 * stock.holding("L-2026-06-01-1").mass == pytest.approx(made["mass_g"], abs=1e-3)


def test_no_stock_to_book_in(call, sheet, tmp_path):
    code, out, err = call(sheet, "--book", "--stock", tmp_path / "none.db")
    assert code == 2
    assert "none.db" in err
    assert out == ""
