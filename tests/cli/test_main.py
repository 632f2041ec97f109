"""The command line as a process: what it imports before it knows what is asked."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "thermo", "pydantic", "jinja2", "sqlite3")


@pytest.mark.parametrize("module", ["fractionkit", "fractionkit.cli.main"])
def test_nothing_heavy_is_imported_at_the_start(module):
    # numpy above all: the number of its threads is set before it is first imported (cli/main.py)
    code = f"import sys, {module}; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def test_every_command_has_a_line_of_help_that_is_not_cut_off():
    done = subprocess.run(
        [sys.executable, "-m", "fractionkit.cli.main", "--help"],
        capture_output=True, text=True, check=True, env={"COLUMNS": "80", "PATH": "", "NO_COLOR": "1"},
    )  # fmt: skip
    commands = done.stdout.partition("Commands:")[2].strip().splitlines()
    assert len(commands) >= 12
    for line in commands:
        assert line.rstrip().endswith("."), line
        assert not line.rstrip().endswith("..."), line
