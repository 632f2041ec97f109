"""What the assessment says: figures that a person at the bench can read, and what was known before."""

from __future__ import annotations

from pathlib import Path

import pytest

from fractionkit.assessment import assess
from fractionkit.assessment.rarity import rarity
from fractionkit.assessment.words import NOT_TESTED, not_tested
from fractionkit.sheets import load_run

DATA = Path(__file__).parents[2] / "data"


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.5, "5 of 10 faultless runs disagree as much"),
        (0.05, "1 faultless run in 20 disagrees as much"),
        (0.0123, "1 faultless run in 80 disagrees as much"),
        (0.001, "1 faultless run in 1,000 disagrees as much"),
        (3e-14, "fewer than 1 faultless run in 1,000 disagrees as much"),
        (0.0, "fewer than 1 faultless run in 1,000 disagrees as much"),
    ],
)
def test_rarity_is_one_over_the_chance(chance, told):
    assert rarity(chance) == told


def test_water_is_not_called_untested_where_the_sheet_names_it():
    assert "water" not in not_tested(("tetrachloroethylene", "water"))
    assert not_tested(("chloroform",)) == NOT_TESTED


def test_a_finding_tells_what_was_known_before():
    # demo_binary states ± 0.8 °C for the thermometer and ± 0.4 kPa for the pressure; 1.959964 of u is what was typed
    found = {f.instrument: f for f in assess(load_run(DATA / "demo_binary")).findings}
    assert found["thermometer"].before.high == pytest.approx(0.8, abs=1e-9)
    assert "before the run ± 0.8 K" in found["thermometer"].text
    assert "before the run ± 0.40 kPa" in found["pressure"].text
    after = found["thermometer"].after
    assert after.high - after.low < 1.6  # the run tells something of it
