"""`fractionkit aliquots` at the prompt: table, JSON, report, and refusals."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli import aliquots
from fractionkit.errors import InputError

DEMO = Path(__file__).parents[2] / "data" / "demo_aliquots"

app = typer.Typer()
app.command()(aliquots.command)


def run(*arguments: str, width: int = 100) -> str:
    done = CliRunner().invoke(app, list(arguments), env={"COLUMNS": str(width)}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_table_and_verdict():
    told = run(str(DEMO))
    assert "09:20" in told
    assert "has levelled off" in told
    assert "Local rules and licensed practice come first." in " ".join(told.split())
    assert told.count("\n") > 24


def test_json_on_standard_output_is_all_there_is():
    told = json.loads(run(str(DEMO), "--json", "-"))
    assert told["schema"] == "fractionkit/aliquots/1"
    assert len(told["aliquots"]) == 24


def test_report_holds_picture_and_fetches_nothing(tmp_path):
    page = tmp_path / "series.html"
    told = run(str(DEMO), "--report", str(page))
    assert f"written: {page}" in told.replace("\n", "")
    text = page.read_text(encoding="utf-8")
    picture = text[text.index("<svg") : text.index("</svg>") + 6]
    assert ElementTree.fromstring(picture).tag.endswith("svg")
    rest = text.replace("http://www.w3.org/", "").replace("http-equiv", "")
    assert "http" not in rest
    assert "<script" not in text
    assert "Local rules and licensed practice come first." in text


def test_what_a_person_typed_is_escaped(tmp_path):
    sheet = (DEMO / "aliquots.toml").read_text(encoding="utf-8")
    (tmp_path / "aliquots.toml").write_text(sheet.replace("Dichloromethane stripped", "<b>x</b>"), encoding="utf-8")
    table = (DEMO / "aliquots.csv").read_text(encoding="utf-8")
    (tmp_path / "aliquots.csv").write_text(table.replace("before the nitrogen", "<i>n</i>"), encoding="utf-8")
    page = tmp_path / "series.html"
    run(str(tmp_path), "--report", str(page))
    text = page.read_text(encoding="utf-8")
    assert "<b>x" not in text
    assert "<i>n" not in text
    assert "&lt;b&gt;x" in text


@pytest.mark.parametrize("place", ["nothing here", "aliquots.csv"])
def test_wrong_paths(tmp_path, place):
    with pytest.raises(InputError):
        run(str(tmp_path / place))


def test_nothing_is_written_when_the_sheet_is_wrong(tmp_path):
    (tmp_path / "aliquots.toml").write_text("[run]\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run(str(tmp_path), "--json", str(tmp_path / "out.json"))
    assert not (tmp_path / "out.json").exists()
    assert "components" in str(caught.value)
