"""Preposterior analysis against closed forms for normal quantities, and against fitting the run anew."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from fractionkit.composition import correct, fit_evidence
from fractionkit.measurements import next_measurements
from fractionkit.measurements.preposterior import Candidate, expect, half_width
from fractionkit.measurements.world import World
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured
from fractionkit.sheets import load_run

DEMO = Path(__file__).parents[2] / "data" / "demo_binary"
D = 4000


def normal_draws(covariance: np.ndarray, seed: int = 1) -> np.ndarray:
    """D draws with exactly this covariance and mean zero."""
    raw = np.random.default_rng(seed).standard_normal((D, len(covariance)))
    raw -= raw.mean(axis=0)
    raw = np.linalg.solve(np.linalg.cholesky(raw.T @ raw / D), raw.T).T
    return raw @ np.linalg.cholesky(covariance).T


@pytest.mark.parametrize("noise", [0.1, 0.5, 2.0])
def test_one_reading_of_a_normal_quantity(noise):
    # closed form: var(q | y) = var q - cov(q, m)^2 / (var m + noise^2)
    draws = normal_draws(np.array([[1.0, 0.8], [0.8, 1.0]]))
    found = expect(draws[:, :1], draws[:, 1:], np.array([[noise**2]]), None)
    assert found.now == pytest.approx(1.96, rel=0.05)
    assert found.after / found.now == pytest.approx(math.sqrt(1 - 0.64 / (1 + noise**2)), rel=0.06)
    assert found.changes == 0.0


def test_many_readings_with_a_common_error():
    # closed form for normal quantities, with the full covariance matrices
    rng = np.random.default_rng(2)
    root = rng.standard_normal((5, 5))
    covariance = root @ root.T / 5 + 0.1 * np.eye(5)
    draws = normal_draws(covariance)
    noise = 0.04 * np.eye(4) + 0.02
    found = expect(draws[:, :1], draws[:, 1:], noise, None)
    cross = covariance[0, 1:]
    left = covariance[0, 0] - cross @ np.linalg.solve(covariance[1:, 1:] + noise, cross)
    assert found.after / found.now == pytest.approx(math.sqrt(left / covariance[0, 0]), rel=0.06)


@pytest.mark.parametrize(("mean", "noise"), [(0.5, 0.3), (1.2, 0.5), (1.9, 0.5), (2.6, 1.0)])
def test_chance_of_another_decision(mean, noise):
    # One lot whose surplus is N(mean, 1): kept when Phi(mean/1) >= 0.95. After a reading with sd `noise` the surplus is
    # N(m', v) with v = noise^2/(1 + noise^2) and m' ~ N(mean, 1 - v): kept when m' >= z sqrt(v).
    surplus = mean + normal_draws(np.eye(1))
    now = norm.cdf(mean) >= 0.95
    v = noise**2 / (1 + noise**2)
    kept = norm.sf((norm.ppf(0.95) * math.sqrt(v) - mean) / math.sqrt(1 - v))
    lots = Candidate(surplus, np.array([1.0]), 0 if now else -1, 0.95)
    found = expect(surplus, surplus, np.array([[noise**2]]), lots, outcomes=1000)
    assert found.changes == pytest.approx(1 - kept if now else kept, abs=0.03)


@pytest.mark.parametrize("count", [400, 1500])
@pytest.mark.parametrize("edge", [1.6, 1.7])
def test_a_reading_that_says_nothing_changes_nothing(count, edge):
    # near the stated confidence (a surplus of 1.645), with few draws, and skewed: noise must not pass for a gain
    drawn = np.random.default_rng(count).gamma(4.0, size=(20, count, 2)) / 2.0 - 2.0
    found = []
    for draws in drawn:
        lots = Candidate(
            draws[:, :1] + edge, np.array([1.0]), 0 if (draws[:, 0] + edge >= 0).mean() >= 0.95 else -1, 0.95
        )
        found.append(expect(draws[:, :1], draws[:, 1:], np.array([[1.0]]), lots))
    assert np.mean([one.after / one.now for one in found]) == pytest.approx(1.0, abs=0.005)
    assert np.mean([one.changes for one in found]) < 0.03


def test_half_width_of_the_shortest_interval():
    # exponential distribution: the shortest 95 % interval is [0, -ln 0.05]
    quantiles = -np.log(1 - (np.arange(20000) + 0.5) / 20000)
    assert half_width(quantiles) == pytest.approx(-math.log(0.05) / 2, rel=1e-3)


@pytest.fixture(scope="module")
def lacking():
    """The demo run with the density of C7 taken away and 96 wt% wanted; its evidence and posterior."""
    run = load_run(DEMO)
    run = replace(run, target=replace(run.target, purity=0.96))
    mixture = Mixture(run.components)
    evidence = correct(run, mixture).evidence
    value = evidence.density.value.copy()
    value[6] = np.nan
    evidence = replace(evidence, density=replace(evidence.density, value=value))
    return run, mixture, evidence, fit_evidence(mixture, evidence)


def test_density_of_a_cut_that_has_none_against_refits(lacking):
    # brute force: simulate the reading from a draw, add it to the evidence, fit anew
    run, mixture, evidence, posterior = lacking
    found = next(one for one in next_measurements(run, mixture, evidence, posterior) if one.what == "density of C7")
    world = World.of(mixture, evidence, posterior)
    kind, k = evidence.density, np.array([6])
    value, jacobian = world.liquid("density", k, 293.15)
    shown = value + world.known(jacobian, {name: float(np.nanmedian(c)) for name, c in kind.shared.items()})
    rng = np.random.default_rng(4)
    widths = []
    for d in rng.integers(len(shown), size=8):
        read, warm = kind.value.copy(), evidence.density_temperature.copy()
        read[6], warm[6] = shown[d, 0] + kind.repeat[0] * rng.standard_normal(), 293.15
        fresh = Measured(read, np.where(np.isnan(kind.repeat), kind.repeat[0], kind.repeat), kind.shared)
        again = fit_evidence(mixture, replace(evidence, density=fresh, density_temperature=warm))
        lot = (again.draws[:, 6:8, 1] * run.cuts.mass[6:8]).sum(axis=1) / run.cuts.mass[6:8].sum()
        widths.append(half_width(lot))
    assert found.cost == "balance"
    assert found.cut == "C7"
    assert found.half_width_expected == pytest.approx(np.mean(widths), rel=0.15)
    assert found.half_width_expected < 0.5 * found.half_width_now


def test_shared_errors_of_the_draws_are_those_of_the_posterior(lacking):
    # second route: the posterior's own weighted samples, which were not used to make the draws'
    _, mixture, evidence, posterior = lacking
    world = World.of(mixture, evidence, posterior)
    mean, sd = posterior.shared.mean(), posterior.shared.sd()
    assert world.theta.mean(axis=0) == pytest.approx(mean, abs=0.4)
    assert world.theta.std(axis=0) == pytest.approx(sd, abs=0.35)
    thermometer = posterior.errors.index("thermometer")
    assert world.theta[:, thermometer].std() < 0.6  # the run has told most of it


def test_ranking_and_words(lacking):
    run, mixture, evidence, posterior = lacking
    found = next_measurements(run, mixture, evidence, posterior)
    score = [1 - one.half_width_expected / one.half_width_now + one.chance_changes_decision for one in found]
    assert score == sorted(score, reverse=True)
    assert {one.cost for one in found} == {"minutes", "balance", "instrument"}
    for one in found:
        assert 0 <= one.half_width_expected <= one.half_width_now
        assert 0 <= one.chance_changes_decision <= 1
        assert one.text
        assert one.text[0].isupper()
    names = [one.what for one in found]
    assert any("thermometer" in name for name in names)
    assert any("barometer" in name for name in names)
    assert any("boiling-range" in name for name in names)
    assert any("refractive index" in name for name in names)
    assert next_measurements(run, mixture, evidence, posterior) == found


def test_cuts_of_a_long_lot_that_are_not_asked_about_still_count(lacking, monkeypatch):
    run, mixture, evidence, posterior = lacking
    easy = replace(run, target=replace(run.target, purity=0.5))
    every = next_measurements(easy, mixture, evidence, posterior)
    monkeypatch.setattr("fractionkit.measurements.next.MOST_CUTS", 3)
    few = next_measurements(easy, mixture, evidence, posterior)
    assert few[0].half_width_now == every[0].half_width_now
    assert all(one.chance_changes_decision < 0.1 for one in (*few, *every))


def test_without_a_target_nothing_is_ranked(lacking):
    run, mixture, evidence, posterior = lacking
    assert next_measurements(replace(run, target=None), mixture, evidence, posterior) == ()


def test_where_no_lot_stands_the_best_cut_is_asked_about(lacking):
    run, mixture, evidence, posterior = lacking
    hard = replace(run, target=replace(run.target, component="trichloroethylene", purity=0.995))
    found = next_measurements(hard, mixture, evidence, posterior)
    assert found
    assert all(one.chance_changes_decision <= 0.05 for one in found)
    assert any(one.cut == "C1" for one in found)
