"""The first-order approach: scipy's curve_fit as second route, a closed form, and how often its intervals hold the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from fractionkit.aliquots.approach import fit_approach, level_time
from fractionkit.aliquots.levelling import Signal

TIME = 600.0 * np.arange(20)
TOLERANCE, INTERVAL = 0.005, 1800.0


def model(time, plateau, amplitude, constant):
    return plateau + amplitude * np.exp(-time / constant)


def test_fit_agrees_with_curve_fit():
    rng = np.random.default_rng(8)
    sd = np.full(20, 0.002)
    value = model(TIME, 0.02, 0.2, 2500.0) + sd * rng.standard_normal(20)
    fitted = fit_approach(TIME, [Signal(value, sd)], TOLERANCE, INTERVAL)
    best, _ = curve_fit(model, TIME, value, p0=(0.0, 0.1, 2000.0), sigma=sd, absolute_sigma=True)
    assert fitted is not None
    assert fitted.time_constant[0] == pytest.approx(best[2], rel=0.002)
    assert fitted.curve == pytest.approx(model(TIME, *best), abs=5e-5)
    at = best[2] * math.log(best[1] * (1 - math.exp(-INTERVAL / best[2])) / TOLERANCE)
    assert fitted.level_time is not None
    assert fitted.level_time[0] == pytest.approx(at, rel=0.002)


def test_level_time_is_where_the_remaining_change_equals_the_tolerance():
    at = float(level_time(np.array(1 / 2500.0), np.array(-0.2), TOLERANCE, INTERVAL))
    assert abs(model(at, 0, 0.2, 2500.0) - model(at + INTERVAL, 0, 0.2, 2500.0)) == pytest.approx(TOLERANCE, rel=1e-12)
    assert level_time(np.array(1e-3), np.array(1e-4), TOLERANCE, INTERVAL) == 0.0


def test_intervals_hold_the_truth():
    # 300 series, each with its own plateau, amplitude and time constant
    rng = np.random.default_rng(9)
    held = np.zeros((300, 2))
    sd = np.full(20, 0.002)
    for k in range(300):
        amplitude, constant = rng.uniform(0.05, 0.3), rng.uniform(1000.0, 4000.0)
        value = model(TIME, rng.uniform(0, 0.1), amplitude, constant) + sd * rng.standard_normal(20)
        fitted = fit_approach(TIME, [Signal(value, sd)], TOLERANCE, INTERVAL)
        assert fitted is not None
        assert fitted.level_time is not None
        at = constant * math.log(amplitude * (1 - math.exp(-INTERVAL / constant)) / TOLERANCE)
        held[k] = [
            low <= truth <= high
            for (_, low, high), truth in ((fitted.time_constant, constant), (fitted.level_time, at))
        ]
    assert (held.mean(axis=0) > 0.90).all()
    assert (held.mean(axis=0) < 0.99).all()


def test_offset_between_two_kinds_does_not_matter():
    sd = np.full(20, 0.002)
    value = model(TIME, 0.02, 0.2, 2500.0)
    one = fit_approach(TIME, [Signal(value, sd), Signal(value, sd)], TOLERANCE, INTERVAL)
    two = fit_approach(TIME, [Signal(value, sd), Signal(value + 0.07, sd)], TOLERANCE, INTERVAL)
    assert one is not None
    assert two is not None
    assert one.level_time == pytest.approx(two.level_time)
    assert one.time_constant == pytest.approx(two.time_constant)


@pytest.mark.parametrize("count", [0, 1, 4])
def test_too_few_samples(count):
    time = 600.0 * np.arange(count)
    assert fit_approach(time, [Signal(np.zeros(count), np.ones(count))], TOLERANCE, INTERVAL) is None


def test_scatter_larger_than_stated_shows():
    rng = np.random.default_rng(4)
    value = model(TIME, 0.02, 0.2, 2500.0) + 0.006 * rng.standard_normal(20)
    fitted = fit_approach(TIME, [Signal(value, np.full(20, 0.002))], None, None)
    assert fitted is not None
    assert fitted.level_time is None
    assert fitted.scatter == pytest.approx(9.0, rel=0.6)
    assert fitted.scatter_chance < 1e-6
