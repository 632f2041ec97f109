"""`fractionkit assess` as a user runs it: outputs, exit codes, nothing lost or half-written."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fractionkit.cli.main import main

DEMO = Path("data")


@pytest.fixture
def run(tmp_path):
    folder = tmp_path / "run"
    shutil.copytree(DEMO / "demo_binary", folder)
    return folder


def leave(arguments):
    """Exit code of the command line."""
    with pytest.raises(SystemExit) as stop:
        main([str(argument) for argument in arguments])
    return stop.value.code or 0


def change(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_table_json_and_report(run, tmp_path, capsys):
    found, page = tmp_path / "answer.json", tmp_path / "answer.html"
    assert leave(["assess", run, "--json", found, "--report", page]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert "tetrachloroethylene" in shown.out
    assert "C8" in shown.out
    document = json.loads(found.read_text(encoding="utf-8"))
    assert document["schema"] == "fractionkit/assessment/1"
    assert [cut["cut"] for cut in document["cuts"]] == [f"C{k}" for k in range(1, 9)]
    assert document["lot"]["cuts"] == ["C8"]
    assert document["lot"]["meets_target"] is True
    assert page.read_text(encoding="utf-8").count("<svg") >= 3


def test_json_to_standard_output_is_nothing_but_json(run, capsys):
    assert leave(["assess", run / "run.toml", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "fractionkit/assessment/1"


def test_the_same_sheet_gives_the_same_answer(run, tmp_path):
    for name in ("first.json", "second.json"):
        leave(["assess", run, "--json", tmp_path / name])
    assert (tmp_path / "first.json").read_bytes() == (tmp_path / "second.json").read_bytes()


def test_wrong_sheets_end_with_all_faults_and_no_output(run, tmp_path, capsys):
    change(run / "cuts.csv", "C3,", "C2,")
    change(run / "cuts.csv", "1.5025", "heavy")
    change(run / "run.toml", '"99 wt%"', '"101 wt%"')
    found = tmp_path / "answer.json"
    assert leave(["assess", run, "--json", found, "--report", tmp_path / "answer.html"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    for part in ("cuts.csv", "row 4", "C2", "row 5", "density", "heavy", "run.toml", "101 wt%"):
        assert part in shown.err, part
    assert list(tmp_path.glob("answer*")) == []
    assert list(tmp_path.glob(".answer*")) == []


def test_a_wrong_sheet_leaves_an_older_answer_alone(run, tmp_path):
    found = tmp_path / "answer.json"
    found.write_text("older", encoding="utf-8")
    change(run / "cuts.csv", "179.3", "-179.3")
    assert leave(["assess", run, "--json", found]) == 2
    assert found.read_text(encoding="utf-8") == "older"


@pytest.mark.parametrize(
    ("run_path", "output", "expected"),
    [
        ("missing", "answer.json", "missing"),
        ("run", "no-such-folder/answer.json", "no folder"),
        ("run", "", "not a folder"),
    ],
)
def test_paths_that_cannot_be(run, tmp_path, capsys, run_path, output, expected):
    assert leave(["assess", tmp_path / run_path, "--json", tmp_path / output]) == 2
    shown = capsys.readouterr().err
    assert shown.startswith("fractionkit: ")
    assert expected in shown


def test_readings_at_odds_are_told_and_end_with_1(run, tmp_path, capsys):
    """One density 15 kg/m3 off, thirty of its standard uncertainties: an answer is given, and is not to be trusted."""
    change(run / "cuts.csv", "1.6156", "1.6006")
    found = tmp_path / "answer.json"
    assert leave(["assess", run, "--json", found]) == 1
    assert "at odds" in capsys.readouterr().out
    codes = [flag["code"] for flag in json.loads(found.read_text(encoding="utf-8"))["flags"]]
    assert "readings_at_odds" in codes


def test_a_real_process_has_the_exit_code_and_no_traceback(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "fractionkit.cli.main", "assess", str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "80"},
    )
    assert done.returncode == 2
    assert "run.toml" in done.stderr
    assert "Traceback" not in done.stderr
