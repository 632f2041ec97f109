"""`fractionkit stages` on the demo run of a column, and what it refuses."""

import json
from pathlib import Path

import jsonschema
import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli import stages
from fractionkit.errors import InputError

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo_column"
SCHEMA = ROOT / "fractionkit" / "report" / "stages-1.schema.json"

app = typer.Typer(pretty_exceptions_enable=False)
app.command("stages")(stages.command)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stages")
    told = CliRunner().invoke(
        app, [str(DEMO), "--json", str(folder / "fit.json"), "--report", str(folder / "fit.html")],
        env={"COLUMNS": "80"}, catch_exceptions=False,
    )  # fmt: skip
    return told, folder


def test_the_demo_says_its_six_stages(written):
    told, folder = written
    assert told.exit_code == 0
    assert max(len(line.rstrip()) for line in told.output.splitlines() if "written:" not in line) <= 80
    found = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    jsonschema.validate(found, json.loads(SCHEMA.read_text(encoding="utf-8")))
    # data/demo_column/README.md: 6 stages, 2 mol% held
    assert found["stages"]["low"] <= 6.0 <= found["stages"]["high"]
    assert found["holdup_fraction"]["low"] <= 0.02 <= found["holdup_fraction"]["high"]
    assert found["stages"]["high"] - found["stages"]["low"] < 2.0


def test_the_report_stands_alone(written):
    page = (written[1] / "fit.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "Test run of the packed column" in page


@pytest.mark.parametrize("typed", ["lots", "3 mL", "-2", "250"])
def test_a_reflux_that_is_none_is_refused(typed):
    with pytest.raises(InputError):
        CliRunner().invoke(app, [str(DEMO), f"--reflux={typed}"], catch_exceptions=False)


def test_the_demo_is_made_as_its_readme_says():
    from tests.stages.demo import files

    for name, text in files().items():
        assert (DEMO / name).read_text(encoding="utf-8") == text
