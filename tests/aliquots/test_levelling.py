"""The test of levelling off: closed forms, scipy and numpy as second routes, and its error rates by simulation.

The series simulated are first-order approaches (or their limits: a straight line, a plateau) with normal errors and a bias of
their own; nothing of the simulation is taken from the package.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from fractionkit.aliquots.levelling import (
    LEVEL,
    MOVING,
    Signal,
    critical_values,
    design,
    level_from,
    look_at,
    samples_needed,
)

MINUTE = 60.0
INTERVAL = 30 * MINUTE
TOLERANCE = 0.005
SD = 0.0012
SERIES = 4000
TIME = 10 * MINUTE * np.arange(50)


def simulate(truth: np.ndarray, seed: int, sd: float = SD) -> np.ndarray:
    """SERIES readings (SERIES, K) of one truth (K,), each series with a bias ten times its scatter."""
    rng = np.random.default_rng(seed)
    bias = 10 * sd * rng.standard_normal((SERIES, 1))
    return truth + bias + sd * rng.standard_normal((SERIES, len(truth)))


def judged(truth: np.ndarray, seed: int):
    sd = np.full(len(TIME), SD)
    plan = design(TIME, [sd], TOLERANCE, INTERVAL)
    return plan, look_at(plan, [Signal(simulate(truth, seed), sd)])


def bound(rate: float) -> float:
    """Upper end of what a true rate may show in SERIES simulations: three standard deviations."""
    return rate + 3 * np.sqrt(rate * (1 - rate) / SERIES)


def test_the_error_spent_adds_up_to_five_per_cent():
    # closed form: sum of 1/(j (j + 1)) from 1 to n telescopes to 1 - 1/(n + 1)
    values = critical_values(1002)
    assert np.isinf(values[:2]).all()
    assert 2 * norm.sf(values[2:]).sum() == pytest.approx(0.05 * (1 - 1 / 1001), rel=1e-9)


def test_slope_and_standard_error_agree_with_polyfit():
    rng = np.random.default_rng(5)
    time = np.sort(rng.uniform(0, 7200, 20))
    sd = rng.uniform(0.5, 2.0, 20) * 1e-3
    value = 0.3 - 2e-6 * time + sd * rng.standard_normal(20)
    plan = design(time, [sd], 0.01, 600.0)
    looks = look_at(plan, [Signal(value, sd)])
    for k in (4, 11, 19):
        part = slice(int(plan.start[k]), k + 1)
        (slope, _), covariance = np.polyfit(time[part], value[part], 1, w=1 / sd[part], cov="unscaled")
        assert looks.change[k] == pytest.approx(slope * 600.0, rel=1e-8)
        assert plan.se[k] == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-8)


def test_two_kinds_of_reading_share_a_slope_and_keep_their_offsets():
    # second route: one least-squares problem with a column for each offset and one for the slope
    rng = np.random.default_rng(6)
    time = 300.0 * np.arange(12)
    sd = [np.full(12, 1e-3), np.full(12, 2e-3)]
    sd[1][3] = np.nan
    values = [0.5 - 1e-6 * time + 1e-3 * rng.standard_normal(12), 0.6 - 1e-6 * time + 2e-3 * rng.standard_normal(12)]
    plan = design(time, sd, 1e-5, 600.0)  # never enough: the look goes back over everything
    looks = look_at(plan, [Signal(value, s) for value, s in zip(values, sd, strict=True)])
    known = np.isfinite(sd[1])
    rows = np.zeros((12 + known.sum(), 3))
    rows[:12, 0], rows[12:, 1] = 1.0, 1.0
    rows[:, 2] = np.concatenate([time, time[known]])
    weight = 1 / np.concatenate([sd[0], sd[1][known]])
    target = np.concatenate([values[0], values[1][known]])
    found = np.linalg.lstsq(rows * weight[:, None], target * weight, rcond=None)[0]
    assert not plan.enough[-1]
    assert looks.change[-1] == pytest.approx(found[2] * 600.0, rel=1e-7)


def test_a_series_that_moves_at_the_tolerance_is_called_level_in_at_most_2_5_of_100():
    # the worst case: a straight line with exactly the tolerance in each interval, looked at after every sample
    _, looks = judged(0.2 - TOLERANCE / INTERVAL * TIME, 11)
    ever = (looks.verdict == LEVEL).any(axis=1).mean()
    assert ever <= bound(0.025)


@pytest.mark.parametrize("constant", [60.0, 120.0, 400.0])
def test_a_first_order_approach_is_not_called_level_too_early(constant):
    # closed form: the change in the next interval is A exp(-t/tau) (1 - exp(-Delta/tau))
    tau = constant * MINUTE
    amplitude = 0.15
    truth = 0.01 + amplitude * np.exp(-TIME / tau)
    remaining = amplitude * np.exp(-TIME / tau) * (1 - np.exp(-INTERVAL / tau))
    _, looks = judged(truth, 12)
    early = ((looks.verdict == LEVEL) & (remaining >= TOLERANCE)).any(axis=1).mean()
    assert early <= bound(0.025)


def test_a_plateau_is_called_anything_but_level_in_at_most_5_of_100():
    plan, looks = judged(np.full(len(TIME), 0.02), 13)
    able = plan.enough
    assert able.sum() > 40
    assert (looks.verdict[:, able] != LEVEL).any(axis=1).mean() <= bound(0.05)
    assert (looks.verdict == MOVING).any(axis=1).mean() <= bound(0.05)


def test_a_plateau_after_an_approach_is_found_once_it_fills_the_window():
    truth = np.where(TIME < 200 * MINUTE, 0.12 - 0.1 * TIME / (200 * MINUTE), 0.02)
    plan, looks = judged(truth, 14)
    inside = plan.enough & (TIME[plan.start] >= 200 * MINUTE)
    assert inside.sum() > 15
    assert (looks.verdict[:, inside] != LEVEL).any(axis=1).mean() <= bound(0.05)
    before = TIME < 200 * MINUTE
    assert (looks.verdict[:, before] == LEVEL).any(axis=1).mean() <= bound(0.025)
    assert (looks.verdict[:, 15:20] == MOVING).mean() > 0.95  # power: fifteen samples at 1.5 wt% in 30 min


def test_a_bias_changes_nothing():
    sd = np.full(len(TIME), SD)
    plan = design(TIME, [sd], TOLERANCE, INTERVAL)
    value = 0.05 * np.exp(-TIME / 3000.0) + SD * np.random.default_rng(3).standard_normal(len(TIME))
    first, second = (look_at(plan, [Signal(value + shift, sd)]) for shift in (0.0, 0.3))
    assert np.array_equal(first.verdict, second.verdict)
    assert level_from(first) == level_from(second)


@pytest.mark.parametrize("value", [np.zeros(2), np.zeros(1)])
def test_too_few_samples_decide_nothing(value):
    sd = np.full(len(value), SD)
    plan = design(600.0 * np.arange(len(value)), [sd], TOLERANCE, INTERVAL)
    looks = look_at(plan, [Signal(value, sd)])
    assert not plan.enough.any()
    assert (looks.verdict == 0).all()
    assert level_from(looks) is None


def test_samples_at_one_time_decide_nothing():
    sd = np.full(8, SD)
    plan = design(np.full(8, 100.0), [sd], TOLERANCE, INTERVAL)
    assert np.isinf(plan.se).all()
    assert (look_at(plan, [Signal(np.linspace(0, 1, 8), sd)]).verdict == 0).all()


def test_samples_needed_agrees_with_the_design():
    # the design finds its windows by sums over the samples, `samples_needed` by the closed form of even spacing
    sd = np.full(len(TIME), SD)
    plan = design(TIME, [sd], TOLERANCE, INTERVAL)
    last = len(TIME) - 1
    assert samples_needed(SD, 10 * MINUTE, TOLERANCE, INTERVAL, last + 1) == last - plan.start[last] + 1


def test_a_drift_that_all_readings_share_adds_the_slope_that_it_feigns():
    # closed form: an error that grows by c a second feigns the slope c over any window, so se^2 = se0^2 + c^2; one that stays
    # as it is feigns none
    sd = np.full(len(TIME), SD)
    rate = 2e-8
    plain = design(TIME, [sd], 1e-9, INTERVAL)  # never enough: every look goes back over everything
    drifting = design(TIME, [sd], 1e-9, INTERVAL, drifts=[rate * TIME])
    constant = design(TIME, [sd], 1e-9, INTERVAL, drifts=[np.full(len(TIME), 0.3)])
    seen = np.isfinite(plain.se)
    assert drifting.se[seen] == pytest.approx(np.hypot(plain.se[seen], rate), rel=1e-9)
    assert constant.se[seen] == pytest.approx(plain.se[seen], rel=1e-6)
    value = 0.2 - 1e-6 * TIME
    looks = [look_at(plan, [Signal(value, sd)]) for plan in (plain, drifting)]
    assert looks[0].change[seen] == pytest.approx(looks[1].change[seen], rel=1e-9)  # the slope itself is the readings'
