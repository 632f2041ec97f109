"""The still's own equation as evidence, switched on by [still] stages in run.toml."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from fractionkit.assessment import assess
from fractionkit.sheets import load_run

DEMO = Path(__file__).parents[2] / "data" / "demo_binary"


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    for name in ("run.toml", "cuts.csv"):
        shutil.copy(DEMO / name, folder / name)
    alone = assess(load_run(folder))
    # data/demo_binary/README.md: 5 stages, reflux ratio 2
    text = (folder / "run.toml").read_text(encoding="utf-8") + '\n[still]\nstages = "5 ± 1.5"\nreflux = "2 ± 0.4"\n'
    (folder / "run.toml").write_text(text, encoding="utf-8")
    return alone, assess(load_run(folder))


def _truth():
    lines = (DEMO / "truth.csv").read_text(encoding="utf-8").splitlines()
    return np.array([[float(cell) for cell in line.split(",")[1:]] for line in lines[2:]])


def _ends(assessment):
    made = [[cut.composition[name] for name in assessment.components] for cut in assessment.cuts]
    return np.array([[e.low for e in row] for row in made]), np.array([[e.high for e in row] for row in made])


def test_off_unless_stages_are_stated(both):
    alone, tied = both
    assert not any(flag.code.startswith("still_") for flag in alone.flags)
    assert any(flag.code == "still_used" for flag in tied.flags)


def test_tied_intervals_are_narrower_and_hold_the_truth(both):
    alone, tied = both
    low, high = _ends(tied)
    before = _ends(alone)
    truth = _truth()
    assert np.mean((low <= truth) & (truth <= high)) >= 0.9
    assert np.mean(high - low) < np.mean(before[1] - before[0])
    assert tied.effective_samples <= alone.effective_samples
    np.testing.assert_allclose(tied.draws.sum(axis=-1), 1.0, rtol=0, atol=1e-9)
