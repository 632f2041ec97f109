"""`fractionkit plan`: what is printed, written and refused."""

from __future__ import annotations

import io
import json
import re
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
import typer
from rich.console import Console
from typer.testing import CliRunner

from fractionkit.cli import plan as command
from fractionkit.cli.tables.plan import show
from fractionkit.errors import FractionkitError, InputError
from fractionkit.planning.compare import compare
from fractionkit.report.plan_document import SCHEMA_FILE, plan_json, plan_json_text
from fractionkit.report.plan_page import plan_html
from fractionkit.sheets.still_file import load_still

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo_still"
SCHEMA = json.loads(files("fractionkit.report").joinpath(SCHEMA_FILE).read_text(encoding="utf-8"))
CHECK = jsonschema.Draft202012Validator(SCHEMA)

SHEET = """\
[plan]
title = "<b>Second</b> pass [red]"
[feed]
mass = "500 g"
composition = { chloroform = "30 ± 2 wt%", trichloroethylene = "40 ± 2 wt%", tetrachloroethylene = "rest" }
[pressure]
station = "98.6 kPa"
[target]
component = "trichloroethylene"
purity = "80 wt%"
[still]
heater = "150 W"
[[setup]]
name = "mine <i>"
stages = "6 ± 1"
holdup = "10 mL"
throughput = "10 mL/min"
reflux = [2, 5]
[[setup]]
column = "still head"
"""


SMALL = SHEET.replace('chloroform = "30 ± 2 wt%", ', "").replace("reflux = [2, 5]", "reflux = 5")
"""Two components and one reflux ratio, for the command itself, which draws as many scenarios as it does for people."""


def app() -> typer.Typer:
    made = typer.Typer()
    made.command()(command.command)
    return made


@pytest.fixture(scope="module")
def sheet(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("plan") / "STILL.toml"
    path.write_text(SHEET, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(sheet):
    return compare(load_still(sheet), count=40, pictures=True)


@pytest.fixture(scope="module")
def hopeless(sheet):
    path = sheet.with_name("hopeless.toml")
    path.write_text(SHEET.replace('"80 wt%"', '"99.9 wt%"').replace("6 ± 1", "3"), encoding="utf-8")
    return compare(load_still(path), count=30)


def test_json_report_and_table(tmp_path):
    sheet, out, page = (tmp_path / name for name in ("STILL.toml", "plan.json", "plan.html"))
    sheet.write_text(SMALL, encoding="utf-8")
    done = CliRunner().invoke(app(), [str(sheet), "--json", str(out), "--report", str(page)])
    assert done.exit_code == 0, done.output
    assert f"written: {out}" in done.output
    document = json.loads(out.read_text(encoding="utf-8"))
    CHECK.validate(document)
    assert document["best"]["setup"] == "mine <i>"
    assert "kept, g" in done.output
    text = page.read_text(encoding="utf-8")
    assert text.count("<svg") >= 3


def test_json_to_standard_output(tmp_path):
    path = tmp_path / "STILL.toml"
    path.write_text(SMALL, encoding="utf-8")
    only = CliRunner().invoke(app(), [str(path), "--json", "-"])
    assert json.loads(only.stdout)["schema"] == "fractionkit/plan/1"


def test_wrong_input_is_told(tmp_path):
    with pytest.raises(InputError, match="a file that exists") as caught:
        command.command(tmp_path / "no.toml")
    assert caught.value.exit_code == 2
    with pytest.raises(FractionkitError):
        command.command(DEMO, json=str(tmp_path / "no" / "folder" / "x.json"))


def test_the_document_follows_its_schema(made, hopeless):
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    for plan in (made, hopeless):
        document = json.loads(plan_json_text(plan), parse_constant=lambda name: pytest.fail(name))
        CHECK.validate(document)
        assert document == plan_json(plan)
        assert [entry["rank"] for entry in document["setups"]] == list(range(1, len(plan.trials) + 1))
    assert plan_json(hopeless)["best"] is None
    assert all(entry["why_not"] for entry in plan_json(hopeless)["setups"])


def test_the_document_closes_the_balance(made):
    document = plan_json(made)
    for entry in document["setups"]:
        parts = [cut["mass_g"]["estimate"] for cut in entry["cuts"]]
        assert sum(parts) + entry["left_in_still_g"]["estimate"] == pytest.approx(500.0, abs=5.0)  # medians
        for cut in entry["cuts"]:
            assert sum(share["estimate"] for share in cut["composition"].values()) == pytest.approx(1.0, abs=0.03)
        heart = [cut for cut in entry["cuts"] if cut["decision"] == "keep"]
        assert len(heart) == (1 if entry["reaches_target"] else 0)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("setups"),
        lambda d: d.update(schema="fractionkit/plan/2"),
        lambda d: d["setups"][0].update(reaches_target="yes"),
        lambda d: d["setups"][0]["cuts"][0].update(decision="sell"),
        lambda d: d["setups"][0]["cuts"][0]["composition"]["chloroform"].update(high=1.2),
        lambda d: d["setups"][0].pop("why_not"),
        lambda d: d.update(ranked_by="price"),
    ],
)
def test_the_schema_refuses_a_spoilt_document(made, spoil):
    document = json.loads(plan_json_text(made))
    spoil(document)
    assert not CHECK.is_valid(document)


def printed(plan, width):
    console = Console(width=width, record=True, file=io.StringIO())
    show(plan, console)
    return console.export_text()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_table_keeps_to_the_terminal(made, hopeless, width):
    for plan in (made, hopeless):
        text = printed(plan, width)
        assert max(map(len, text.splitlines())) <= width
        assert "[red]" in text  # nothing that was typed is read as markup
    assert "Nothing here reaches the target" in printed(hopeless, 80)
    assert "at most" in printed(hopeless, 80)


def test_the_table_says_what_to_do(made):
    text = printed(made, 100)
    assert re.search(r"mine <i> at reflux [25]", text)
    assert "head first reads" in text or "have come over" in text
    assert "still head: no cut of 80 wt% with 1 stage: at most" in text
    assert "Fenske" in text
    assert "Local rules and licensed practice come first." in text


def test_the_report_is_one_safe_file(made, hopeless):
    for plan in (made, hopeless):
        page = plan_html(plan)
        assert "<b>Second</b>" not in page
        assert "&lt;b&gt;Second&lt;/b&gt;" in page
        assert "<script" not in page
        assert not re.search(r"(?:src|href)=\"https?:", page.replace('xlink:href="#', ""))
        assert "default-src 'none'" in page
        ids = re.findall(r'\sid="([^"]+)"', page)
        assert len(ids) == len(set(ids))
    assert "No set-up gives 99.9 wt% trichloroethylene" in plan_html(hopeless)
    assert 'id="setups-title"' in plan_html(made)
    assert 'id="setups-title"' not in plan_html(hopeless)


def test_the_demo_is_invented_and_gives_a_plan():
    sheet = (DEMO / "STILL.toml").read_text(encoding="utf-8")
    assert sheet.startswith("# INVENTED DATA")
    assert (DEMO / "README.md").read_text(encoding="utf-8").startswith("# INVENTED DATA")
    assert "invented" in load_still(DEMO).title
    assert compare(load_still(DEMO), count=20).best is not None
