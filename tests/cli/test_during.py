"""`fractionkit during` on the demo plan."""

import json
from pathlib import Path

import jsonschema
import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli import during
from fractionkit.errors import InputError

ROOT = Path(__file__).parents[2]
DEMO = str(ROOT / "data" / "demo_still")
SCHEMA = ROOT / "fractionkit" / "report" / "during-1.schema.json"
RUNNING = ["--setup", "Vigreux 40 cm", "--reflux", "3"]

app = typer.Typer(pretty_exceptions_enable=False)
app.command("during")(during.command)


def run(*arguments):
    return CliRunner().invoke(app, [DEMO, *arguments], env={"COLUMNS": "80"}, catch_exceptions=False)


def test_says_what_to_do_next(tmp_path):
    path = tmp_path / "now.json"
    log = tmp_path / "log.csv"
    log.write_text("time,head,collected\n10:05,89.9,100\n10:31,90.6,150\n", encoding="utf-8")
    page = tmp_path / "now.html"
    told = run(
        "--head",
        "92.0 °C",
        "--collected",
        "200 g",
        "--log",
        str(log),
        *RUNNING,
        "--json",
        str(path),
        "--report",
        str(page),
    )
    assert told.exit_code == 0
    html = page.read_text(encoding="utf-8")
    assert html.count("<svg") == 1
    assert "start of the heart" in html  # the mark in the picture
    for text in ("Coming over now", "In this receiver", "660.0", "Never distil to dryness"):
        assert text in html, text
    assert "<script" not in html
    assert "Coming over now" in told.output
    assert max(len(line.rstrip()) for line in told.output.splitlines() if "written:" not in line) <= 80
    found = json.loads(path.read_text(encoding="utf-8"))
    jsonschema.validate(found, json.loads(SCHEMA.read_text(encoding="utf-8")))
    assert len(found["readings"]) == 3
    assert found["possible"]
    assert found["left"]["mass_g"]["estimate"] == pytest.approx(660.0, abs=5.0)  # 860 g charged


def test_impossible_readings_end_with_one():
    told = run("--head", "90.0 °C", "--collected", "600 g", *RUNNING, "--json", "-")
    assert told.exit_code == 1
    found = json.loads(told.output)
    jsonschema.validate(found, json.loads(SCHEMA.read_text(encoding="utf-8")))
    assert not found["possible"]
    assert found["change"] is None


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["--head", "92 °C", *RUNNING], "--collected as well"),
        (["--collected", "200 g", *RUNNING], "--head as well"),
        (RUNNING, "--head"),
        (["--head", "warm", "--collected", "200 g", *RUNNING], "temperature"),
        (["--head", "92 °C", "--collected", "200 g", "--receiver-since", "310 g", *RUNNING], "--receiver-since"),
    ],
)
def test_what_is_typed_wrong_is_said(arguments, expected):
    with pytest.raises(InputError, match=expected):
        run(*arguments)
