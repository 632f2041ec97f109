"""`fractionkit stock` as a user runs it: outputs, JSON, exit codes, 80 columns, hostile texts."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from pathlib import Path

import jsonschema
import pytest
import typer
from rich.cells import cell_len

from fractionkit.cli import stock
from fractionkit.errors import FractionkitError
from fractionkit.stock import open_stock
from fractionkit.stock.acts import Noted
from tests.stock.book import HOSTILE, assessment

SCHEMA = json.loads(Path("fractionkit/report/stock-1.schema.json").read_text(encoding="utf-8"))


@pytest.fixture
def book(tmp_path, monkeypatch):
    path = tmp_path / "shelf.db"
    monkeypatch.setenv("FRACTIONKIT_STOCK", str(path))
    monkeypatch.setenv("COLUMNS", "80")
    return path


@pytest.fixture
def filled(book):
    with open_stock(book, create=True) as opened:
        opened.enter(assessment())
    return book


@pytest.fixture
def call(capsys):
    """Run `stock …`; (exit code, standard output, standard error) as the program gives them."""
    app = typer.Typer(pretty_exceptions_enable=False, rich_markup_mode=None)
    app.add_typer(stock.app, name="stock")

    @app.callback()
    def _root() -> None: ...

    def run(*arguments):
        code = 0
        try:
            app(["stock", *map(str, arguments)], standalone_mode=True)
        except SystemExit as stop:
            code = int(stop.code or 0)
        except FractionkitError as error:  # as the program's entry does
            code = error.exit_code
            print(f"fractionkit: {error}", file=__import__("sys").stderr)
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return run


def document(call, *arguments):
    code, out, err = call(*arguments, "--json", "-")
    assert err == ""
    told = json.loads(out)
    jsonschema.validate(told, SCHEMA)
    return code, told


def test_messages_say_what_to_type(call, book):
    code, _, err = call("receive", "500 g", "--holds", "tetrachloroethylene = 98.5 ± 0.7 wt%")
    assert code == 2
    assert 'name the rest too, like "water = rest"' in err
    for _ in range(2):
        assert call("receive", "500 g", "--holds", "chloroform = 99 ± 0.5 wt%", "--holds", "ethanol = rest")[0] == 0
    code, _, err = call("lot", "b-1", "B2")
    assert code == 2
    assert "the name of the new lot first, like L1 b-1" in err


def test_a_run_that_cannot_have_come_from_its_bottle_is_told(call, book):
    """The demo was charged with 1480 g, of which README.md beside it says 46 wt% are trichloroethylene in truth."""
    wrong = ("--holds", "tetrachloroethylene = 99 ± 0.3 wt%", "--holds", "trichloroethylene = rest")
    right = ("--holds", "trichloroethylene = 46 ± 3 wt%", "--holds", "tetrachloroethylene = rest")
    call("receive", "1480 g", *wrong)
    call("receive", "1480 g", *right)
    _, out, _ = call("enter", "data/demo_binary", "--from", "B1")
    said = " ".join(out.split())
    more = float(re.search(r"the run shows ([\d.]+) \(\S+ to \S+\) g more trichloroethylene than", said)[1])
    assert more == pytest.approx((0.46 - 0.01) * 1480.0, abs=40.0)
    assert "less tetrachloroethylene than was in what was charged" in said
    call("undo")
    code, out, _ = call("enter", "data/demo_binary", "--from", "B2")
    assert code == 0
    assert "the run shows" not in " ".join(out.split())


def test_a_season_at_the_bench(call, book, tmp_path):
    run = tmp_path / "charge-7"
    shutil.copytree(Path("data/demo_binary"), run)
    code, out, err = call("enter", run)
    assert (code, err) == (0, "")
    assert f"new logbook: {book}" in out
    assert "entry 2: R1" in out
    assert "loss        6.5 g" in out
    assert call("fill", "C8", "--title", "Tetrachloroethylene, recovered", "--at", "cabinet 2")[1].startswith(
        "entry 3: 174.3 g"
    )
    assert call("fill", "C3", "--mass", "100 g")[1] == "entry 4: 100.0 g from R1/C3 into B2\n"
    assert call("pour", "C4", "b-2")[1] == "entry 5: 129.5 g from R1/C4 into B2\n"
    assert call("weigh", "B2", "430.5 g", "--tare", "202 g")[1] == "entry 6: B2 holds 228.5 g, 1.0 g less than booked\n"
    note = ("note", "B1", "--density", "1.6225 ± 0.001 g/mL", "--temperature", "20 °C", "--test", "water = 0.008 wt%")
    assert call(*note, "--opened", "2026-05-12", "--method", "Karl Fischer titration")[0] == 0
    assert call("lot", "L-1", "B1=150 g", "--stabiliser", "thymol", "--retest", "2030-01-01")[0] == 0
    assert (
        call("sell", "L-1", "--mass", "50 g", "--to", "Somebody")[1]
        == "entry 9: 50.0 g of L-1 to Somebody; 100.0 g left\n"
    )
    assert call("use", "L-1", "--mass", "10 g")[0] == 0
    assert call("dispose", "R1/residue")[1] == "entry 11: 84.0 g of R1/residue to waste; 0.0 g left\n"
    assert call("undo")[1] == "entry 12: entry 11 undone (disposed of, " + call_day() + ")\n"
    code, told = document(call, "list")
    masses = {place["name"]: place["mass_g"] for place in told["places"]}
    assert masses["B2"] == 228.5
    assert masses["L-1"] == 90.0
    assert masses["R1/residue"] == 84.0
    code, told = document(call, "show", "B1")
    assert [reading["attribute"] for reading in told["readings"]] == ["stands at", "opened", "density", "water"]
    assert told["readings"][3]["si"] == pytest.approx(8e-5)
    assert document(call, "from", "B2")[1]["links"][0]["name"] == "R1/C4"
    assert {link["name"] for link in document(call, "to", "R1/C3")[1]["links"]} == {"B2", "R1/C3", "loss"}
    assert document(call, "yield")[1]["kept_g"] == pytest.approx(174.3)
    assert {alarm["code"] for alarm in document(call, "alarms")[1]["alarms"]} == {"no_stabiliser"}
    code, told = document(call, "check")
    assert (code, told["holds"]) == (0, True)
    code, out, err = call("charge", "B2", "C5")
    assert 'mass = "377.90 ± 0.' in out
    assert "# ! B2: no stabiliser" in out
    assert "12  " in call("log")[1]


def call_day():
    from fractionkit.stock.shelf import today

    return today()


def test_bottles_go_into_the_next_charge(call, book, monkeypatch):
    import fractionkit.assessment

    made = iter([assessment("first"), assessment("first"), assessment("second")])
    monkeypatch.setattr(fractionkit.assessment, "assess", lambda run: next(made))
    assert call("enter", "data/demo_binary")[0] == 0
    assert call("enter", "data/demo_binary")[0] == 2  # the same run again
    made = iter([assessment("first"), assessment("second"), assessment("second", residue=False)])
    assert call("revise", "data/demo_binary", "--run", "R1")[1] == "entry 3: R1 revised, 7 materials\n"
    code, out, _ = call("enter", "data/demo_binary", "--from", "C3", "--from", "C2=100 g")
    assert code == 0
    assert "1400.0 g (400.0 g of it out of bottles)" in out
    assert "3  " + call_day() + "  run revised  R1" in call("log")[1]
    code, _, err = call("revise", "data/demo_binary", "--run", "R2")
    assert (code, err.count("\n")) == (2, 1)
    assert "R2/residue 70.0 g then, nothing now" in err
    assert document(call, "yield", "R2")[1]["before_g"] == pytest.approx(400.0)


def test_export_import_backup(call, filled, tmp_path):
    assert call("export", tmp_path / "tables")[0] == 0
    assert call("export", tmp_path / "all.json")[0] == 0
    assert call("export", tmp_path / "all.json")[0] == 2
    code, out, _ = call("backup", tmp_path / "second.db")
    assert code == 0
    assert "verified" in out
    for form in ("tables", "all.json"):
        assert call("import", tmp_path / form, "--stock", tmp_path / f"{form}.db")[0] == 0
        assert call("list", "--stock", tmp_path / f"{form}.db")[1] == call("list")[1]
    assert call("import", tmp_path / "tables")[0] == 2
    assert call("backup", tmp_path / "second.db")[0] == 2


ALL = (
    "list",
    "list --all",
    "list tetra C4",
    "list nothing like that",
    "show B1",
    "show R1/C4",
    "from B1",
    "to R1/C4",
    "yield",
    "alarms",
    "log",
    "check",
    "charge B1",
)


@pytest.mark.parametrize("command", ALL)
@pytest.mark.parametrize("width", [80, 120])
def test_nothing_is_wider_than_the_terminal(call, filled, monkeypatch, command, width):
    monkeypatch.setenv("COLUMNS", str(width))
    with open_stock(filled) as opened:
        opened.fill("C4", 0.3, title="A rather long title that somebody wrote on the bottle for good reasons",
                    notes=[Noted("stands at", "the flammables cabinet in the corridor, second shelf"),
                           Noted("retest by", "2026-01-01"), Noted("remark", "word " * 60)])  # fmt: skip
        opened.weigh("B1", 0.29)
    code, out, err = call(*command.split())
    assert (code, err) == (0, "")
    rows = out.splitlines() if not command.startswith("charge") else []
    assert all(cell_len(row) <= width for row in rows), max(rows, key=cell_len)


@pytest.mark.parametrize("command", [*ALL, "list --json -", "show B1 --json -", "to R1/C4 --json -"])
def test_hostile_texts_break_nothing(call, filled, command):
    with open_stock(filled) as opened:
        for text in HOSTILE:
            opened.fill(
                "C4", 0.001, title=text, notes=[Noted("stands at", text), Noted("remark", text, method=text)], note=text
            )
        opened.fill("C4", 0.001, name="[red]=1[/red] \x1b[31m\u202e")
        opened.take("B1", 0.0001, "sell", "\x1b]0;title\x07 buyer")
        assert opened.prove().holds
    code, out, err = call(*command.split())
    assert (code, err) == (0, "")
    assert "\x1b" not in out
    assert "\u202e" not in out or "--json" in command
    if "--json" in command:
        jsonschema.validate(json.loads(out), SCHEMA)


def test_messages_do_not_steer_the_terminal(call, filled):
    name = "\x1b[31m\x9b1m\u202e=B"
    with open_stock(filled) as opened:
        opened.fill("C4", 0.1, name=name)
        opened.take(name, 0.05)
    for command in (
        ("take-all", None), ("use", name, "--mass", "1 kg"), ("show", "B9"), ("fill", "C1", "--name", name), ("undo", "3"),
    ):  # fmt: skip
        code, out, err = call(*(part for part in command if part is not None))
        assert code == 2
        assert all(sign.isprintable() or sign == "\n" for sign in out + err), command


WRONG = (
    (("show", "B77"), "found 'B77'"),
    (("fill", "C4", "--mass", "12"), "--mass"),
    (("fill", "C4", "--mass", "900 g"), "at most 350.0 g"),
    (("fill", "C4", "--mass", "-1 g"), "--mass"),
    (("pour", "C1", "C1"), "another place"),
    (("weigh", "C4", "100 g", "--tare", "200 g"), "more than 0"),
    (("note", "C4"), "something to note"),
    (("note", "C4", "--density", "1.5 g/mL"), "--temperature as well"),
    (("note", "C4", "--density", "1.5 sg20/20", "--temperature", "20 °C"), "a density in g/mL"),
    (("note", "C4", "--test", "water"), "an attribute and its result"),
    (("note", "C4", "--test", "mass = 5 g"), "which has an option"),
    (("note", "C4", "--retest", "next week"), "a date like 2026-05-09"),
    (("use", "C4", "--day", "31.12.2026"), "a date like 2026-05-09"),
    (("receive", "5 g", "--holds", "nonesuch"), "a substance of the catalogue"),
    (("receive", "5 g", "--holds", "acetone", "--holds", "acetone = 5 wt%"), "each component once"),
    (("receive", "0 g", "--holds", "acetone"), "more than 0"),
    (("lot", "  ", "C4"), "a name with at least one letter"),
    (("undo", "99"), "from 2 to 2"),
    (("undo", "1"), "from 2 to 2"),
    (("enter", "nowhere"), "nowhere"),
    (("import", "nowhere", "--stock", "new.db"), "nowhere"),
)


@pytest.mark.parametrize("arguments, said", WRONG)
def test_wrong_input_is_one_message_and_changes_nothing(call, filled, arguments, said):
    before = filled.read_bytes()
    code, _, err = call(*arguments)
    assert code == 2
    assert said in err
    assert err.startswith("fractionkit: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert filled.read_bytes() == before


@pytest.mark.parametrize("command", ["list", "fill C1", "check", "backup b.db", "export e", "undo", "log"])
def test_a_missing_damaged_or_foreign_file_is_one_message(call, book, command):
    code, _, err = call(*command.split())
    assert (code, err.count("\n")) == (2, 1)
    assert "there is none yet" in err
    book.write_text("not a logbook\n", encoding="utf-8")
    code, _, err = call(*command.split())
    assert (code, err.count("\n")) == (2, 1)
    assert "left as it is" in err
    assert book.read_text(encoding="utf-8") == "not a logbook\n"


def test_a_locked_file_is_one_message(call, filled, monkeypatch):
    from fractionkit.stock import file
    from fractionkit.stock import opening as module

    monkeypatch.setattr(file, "WAIT", 0.05)
    monkeypatch.setattr(module.open_stock, "__kwdefaults__", {"create": False, "write": True, "wait": 0.05})
    other = sqlite3.connect(filled, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        code, _, err = call("fill", "C1")
        assert (code, err.count("\n")) == (2, 1)
        assert "try again" in err
        assert call("list")[0] == 0
    finally:
        other.execute("ROLLBACK")
        other.close()


def test_what_does_not_add_up_leaves_with_1(call, filled, monkeypatch):
    from fractionkit.stock import stock as module
    from fractionkit.stock.proof import Finding, Proof

    monkeypatch.setattr(module, "prove", lambda *_: Proof((Finding("the file is whole", False, "page 7"),), ()))
    code, out, _ = call("check")
    assert code == 1
    assert "BROKEN" in out
    assert "does not add up" in out
