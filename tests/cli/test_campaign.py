"""`fractionkit campaign` at the prompt: tables, JSON, report, and refusals."""

from __future__ import annotations

import copy
import json
import re
from importlib.resources import files
from xml.etree import ElementTree

import jsonschema
import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli import campaign
from fractionkit.errors import InputError
from fractionkit.report.campaign_document import SCHEMA, SCHEMA_FILE

SHEET = """
[plan]
title = "<b>Two</b> solvents"
date = 2026-06-01
[feed]
mass = "800 g"
composition = {{ chloroform = "40 ± 3 wt%", tetrachloroethylene = "rest" }}
[pressure]
station = "98.6 ± 0.4 kPa"
[target]
component = "chloroform"
purity = "{purity}"
[still]
heater = "200 W"
pot = "1.2 L"
receivers = 4
[[setup]]
name = "<i>short</i> column"
stages = "{stages}"
reflux = [4]
[campaign]
batches = 3
carried = 1
"""

app = typer.Typer()
app.command()(campaign.command)
CHOSEN = ("--setup", "<i>short</i> column", "--reflux", "4")
CHECK = jsonschema.Draft202012Validator(
    json.loads(files("fractionkit.report").joinpath(SCHEMA_FILE).read_text(encoding="utf-8"))
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("still")
    (made / "STILL.toml").write_text(SHEET.format(purity="98 wt%", stages="6 ± 0.3"), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def outputs(folder):
    told = run(str(folder), *CHOSEN, "--json", str(folder / "out.json"), "--report", str(folder / "out.html"), width=80)
    document = json.loads((folder / "out.json").read_text(encoding="utf-8"))
    return told, document, (folder / "out.html").read_text(encoding="utf-8")


def run(*arguments: str, width: int = 100) -> str:
    done = CliRunner().invoke(app, list(arguments), env={"COLUMNS": str(width)}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_tables_fit_the_terminal_and_say_what_to_carry(outputs):
    told = outputs[0]
    table = told[: told.index("written:")]
    assert max(len(line) for line in table.splitlines()) <= 80
    assert "Carry the richest cut into the next charge" in " ".join(told.split())
    assert "kept of fed, %" in told
    assert "Local rules" in told
    assert "…" not in table


def test_json_follows_its_schema(outputs):
    document = outputs[1]
    jsonschema.Draft202012Validator.check_schema(CHECK.schema)
    CHECK.validate(document)
    assert document["schema"] == SCHEMA == "fractionkit/campaign/1"
    assert [policy["carried"] for policy in document["policies"]] == [0, 1]
    assert [len(policy["batches"]) for policy in document["policies"]] == [3, 3]
    last = document["policies"][1]["batches"][-1]
    out = last["kept_g"]["estimate"] + last["set_aside_g"]["estimate"] + last["residue_g"]["estimate"]
    assert last["fresh_g"]["estimate"] == pytest.approx(800.0)
    # medians of parts need not add up exactly; a settled batch gives out what came in
    assert out == pytest.approx(800.0, rel=0.02)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda document: document.pop("policies"),
        lambda document: document.update(schema="fractionkit/campaign/2"),
        lambda document: document["policies"][0]["recovery"].update(high=1.5),
        lambda document: document["policies"][0].update(imbalance=1e-3),
        lambda document: document["policies"][1]["batches"][0]["kept_g"].update(low=-1.0),
        lambda document: document["target"].update(purity=98.0),
    ],
)
def test_schema_refuses_a_spoilt_document(outputs, spoil):
    document = copy.deepcopy(outputs[1])
    spoil(document)
    assert not CHECK.is_valid(document)


def test_report_holds_the_picture_fetches_nothing_and_escapes(outputs):
    text = outputs[2]
    picture = text[text.index("<svg") : text.index("</svg>") + 6]
    assert ElementTree.fromstring(picture).tag.endswith("svg")
    rest = text.replace("http://www.w3.org/", "").replace("http-equiv", "")
    assert not re.search(r"(src|href)=\"(?!#)", rest)
    assert "<script" not in text
    assert "<b>Two" not in text
    assert "<i>short" not in text
    assert "&lt;b&gt;Two" in text


def test_simple_distillations_beside_the_set_up(folder):
    arguments = (str(folder), *CHOSEN, "--batches", "1", "--carried", "0", "--passes", "2")
    report, out = folder / "passes.html", folder / "passes.json"
    told = run(*arguments, "--report", str(report), "--json", str(out))
    assert "2 simple distillations" in told
    assert "simple distillation again and again" in report.read_text(encoding="utf-8")
    document = json.loads(out.read_text(encoding="utf-8"))
    CHECK.validate(document)
    rows = document["one_charge"]
    assert [row["simple_distillations"] for row in rows] == [0, 1, 2]
    batch = document["policies"][0]["batches"][0]
    assert rows[0]["kept_g"] == batch["kept_g"]
    assert rows[0]["recovery"] == batch["recovery"]
    # 6 stages keep more than one or two passes of one stage (Fenske: 6 stages are 6 simple steps at total reflux)
    assert rows[0]["kept_g"]["estimate"] > max(row["kept_g"]["estimate"] for row in rows[1:])
    assert rows[2]["time_h"]["estimate"] >= rows[1]["time_h"]["estimate"]


def test_json_on_standard_output_is_all_there_is(folder):
    told = json.loads(run(str(folder), *CHOSEN, "--batches", "1", "--carried", "0", "--json", "-"))
    assert len(told["policies"]) == 1
    assert len(told["policies"][0]["batches"]) == 1


@pytest.mark.parametrize(
    "options, message",
    [
        (("--batches", "0"), "1 to 1000 batches"),
        (("--setup", "tall"), "a set-up of the sheet"),
        (("--reflux", "-1"), "a reflux ratio"),
        (("--carried", "-1"), "0 or more cuts"),
        (("--passes", "9"), "0 to 6 simple distillations"),
    ],
)
def test_refusals(folder, options, message):
    with pytest.raises(InputError, match=message):
        run(str(folder), *options)


def test_nothing_is_written_when_the_sheet_is_wrong(tmp_path):
    (tmp_path / "STILL.toml").write_text("[feed]\n", encoding="utf-8")
    with pytest.raises(InputError):
        run(str(tmp_path), "--json", str(tmp_path / "out.json"))
    assert not (tmp_path / "out.json").exists()


def test_a_target_that_no_column_gives(tmp_path):
    """Chloroform and acetone boil together (a maximum): neither side passes it, whatever the column."""
    sheet = SHEET.format(purity="99 wt%", stages="3").replace("tetrachloroethylene", "acetone")
    sheet = sheet.replace('component = "chloroform"', 'component = "acetone"').replace("40 ± 3", "85 ± 1")
    (tmp_path / "STILL.toml").write_text(sheet, encoding="utf-8")
    with pytest.raises(InputError, match="azeotrope"):
        run(str(tmp_path), *CHOSEN)
