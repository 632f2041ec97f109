"""Fenske and Underwood against printed problems (data/checks/worked_examples.csv); no printed Gilliland answer was found.

The printed answers are read off diagrams of benzene + toluene; their relative volatility is 2.4 to 2.6.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from fractionkit.planning.shortcut import least_reflux, least_stages, stages_needed

TABLE = Path(__file__).parents[2] / "data" / "checks" / "worked_examples.csv"


def volatility(x, y):
    return y * (1.0 - x) / (x * (1.0 - y))


def test_the_problems_stand_in_the_table():
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    named = {row["id"] for row in csv.DictReader(lines)}
    assert {"geankoplis_11_4_3", "sample_problem_14", "coulson_richardson_11_13"} <= named


def test_geankoplis_problem_by_the_printed_equilibrium_at_the_feed():
    """Least reflux 0.91 and 4.0 trays plus a reboiler, both graphical: within 1 % and a tenth of a stage."""
    alpha = volatility(0.50, 0.71)
    assert float(least_reflux(alpha, 0.50, 0.90)) == pytest.approx(0.91, abs=0.01)
    assert float(least_stages(alpha, 0.10, 0.90)) == pytest.approx(4.0 + 1.0, abs=0.1)


def test_total_reflux_of_the_sample_problem():
    """6.7 stages by a diagram; the one volatility of the pair that other problems print is 2.5, its own at the middle 2.57."""
    assert float(least_stages(2.5, 0.04, 0.95)) == pytest.approx(6.7, abs=0.1)
    assert float(least_stages(volatility(0.50, 0.72), 0.04, 0.95)) == pytest.approx(6.7, abs=0.25)


def test_coulson_and_richardson_example():
    """Relative volatility 2.4: 5.0 stages, least reflux 1.32 (answers from memory)."""
    assert float(least_stages(2.4, 0.10, 0.90)) == pytest.approx(5.0, abs=0.05)
    assert float(least_reflux(2.4, 0.40, 0.90)) == pytest.approx(1.32, abs=0.005)


def test_gilliland_has_the_right_ends():
    """Closed form: least stages at endless reflux, endless stages at the least reflux."""
    lowest, least = float(least_reflux(2.4, 0.40, 0.90)), float(least_stages(2.4, 0.40, 0.90))
    assert float(stages_needed(2.4, 0.40, 0.90, 1e9)) == pytest.approx(least, rel=1e-3)
    assert np.isinf(stages_needed(2.4, 0.40, 0.90, lowest))
