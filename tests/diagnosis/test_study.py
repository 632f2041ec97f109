"""A light part of the study of the diagnosis (tests/diagnosis/study.py; its report stands beside it)."""

from __future__ import annotations

import numpy as np
import pytest

from fractionkit.diagnosis.ground import ground
from fractionkit.diagnosis.predictive import checks, reading_checks
from fractionkit.mixture import Mixture
from tests.diagnosis import study
from tests.proof.faults import PAIRS
from tests.proof.simulate import readings


@pytest.fixture(scope="module")
def sound():
    """Probabilities of readings of 36 sound runs whose constants are drawn from the estimator's own prior."""
    drawn = [one for pair in PAIRS for one in study.drawn(pair, 6, 3, control=True)]
    found = []
    for bench, quality in drawn:
        base = ground(Mixture(bench.names), readings(bench, quality, 3), bench.mass)
        found.append((checks(base), sum(check.stands_out for check in reading_checks(base))))
    return found


def test_a_reading_s_probability_is_hardly_higher_than_its_rate(sound):
    """Uniform but for the room given to a cut's place between its head temperatures; about 600 readings, not independent.

    With the reading itself left among the others 16 of 100 would lie below 0.5 (measured).
    """
    chance = np.array([check.probability for found, _ in sound for check in found])
    assert len(chance) > 500
    assert 0.27 < (chance < 0.5).mean() < 0.55
    assert 0.01 < (chance < 0.05).mean() < 0.075
    assert (chance < 0.005).mean() < 0.015


def test_hardly_a_sound_run_shows_a_reading_that_stands_out(sound):
    # stated: at most 5 of 100 runs; of 36, more than 5 would come by chance in 3 of 1,000 (binomial distribution)
    assert sum(out > 0 for _, out in sound) <= 5


@pytest.mark.parametrize("fault", study.FAULTS)
def test_sizes_of_planted_faults_lie_in_their_intervals(fault):
    # nine runs with 95 % intervals: fewer than seven hold in 8 of 1,000 (binomial distribution)
    drawn = [one for pair in PAIRS[:3] for one in study.drawn(pair, 3, 17)]
    found = [study.planted(bench, quality, fault, 17) for bench, quality in drawn]
    assert sum(one.held for one in found) >= 7
    assert all(one.high > one.low for one in found)
