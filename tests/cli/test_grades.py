"""`fractionkit grades`: every grade with its sources, at 80 columns too; JSON after its schema; faults in words."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import typer
from typer.testing import CliRunner

from fractionkit import report
from fractionkit.cli.grades import command
from fractionkit.errors import InputError
from fractionkit.grades.file import built_in
from fractionkit.grades.words import limit_text

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(command)
SCHEMA = json.loads((Path(report.__file__).parent / "grades-1.schema.json").read_text(encoding="utf-8"))


def run(*arguments: str, width: int = 80) -> str:
    result = CliRunner().invoke(app, list(arguments), env={"COLUMNS": str(width)}, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.mark.parametrize("width", [80, 120])
def test_the_list_fits_and_is_whole(width: int):
    output = run(width=width)
    assert max(len(line.rstrip()) for line in output.splitlines()) <= width
    for grade in built_in():
        assert grade.name in output


@pytest.mark.parametrize("grade", built_in(), ids=lambda grade: grade.name)
def test_one_grade(grade):
    output = run(grade.name)
    assert max(len(line.rstrip()) for line in output.splitlines()) <= 80
    text = " ".join(output.split())
    for words in (grade.title, grade.source, grade.status, grade.note):
        assert words in text
    for limit in grade.limits:
        assert limit_text(limit).split()[0] in text


def test_json_follows_its_schema():
    document = json.loads(run("--json", "-"))
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(document, SCHEMA)
    assert [grade["name"] for grade in document["grades"]] != []
    usp = next(grade for grade in document["grades"] if grade["name"] == "usp-dichloromethane")
    assert usp["limits"][0]["low"] == "99.0 wt%"


def test_for_one_substance_and_a_file(tmp_path: Path):
    file = tmp_path / "house.toml"
    file.write_text(
        '[grade]\nname = "house"\ntitle = "House <b>\\u202e"\nsource = "[red]shop[/red]"\nstatus = "our own"\n'
        'components = ["chloroform"]\n[[limit]]\nattribute = "water"\nhigh = "0.01 wt%"\n',
        encoding="utf-8",
    )
    output = run("--for", "trichloromethane", "--file", str(file))
    assert "house" in output
    assert "bp-reagent-chloroform" in output
    assert "usp-dichloromethane" not in output
    shown = run("house", "--file", str(file))
    assert "House <b>" in shown
    assert "[red]shop[/red]" in shown
    assert "\u202e" not in shown


def test_json_to_a_file(tmp_path: Path):
    path = tmp_path / "grades.json"
    assert f"written: {path}" in " ".join(run("technical", "--json", str(path), width=200).split())
    assert json.loads(path.read_text(encoding="utf-8"))["schema"] == "fractionkit/grades/1"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("tecnical",), "did you mean 'technical'"),
        (("usp-dichloromethane", "--for", "chloroform"), "a grade for chloroform"),
        (("--for", "unobtainium"), "a substance of the catalogue"),
        (("--file", "none.toml"), "a file that exists"),
    ],
)
def test_faults(arguments: tuple[str, ...], told: str):
    with pytest.raises(InputError, match=told):
        run(*arguments)
