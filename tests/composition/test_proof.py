"""A small part of the proof (``python -m tests.proof``) that runs every time: coverage, efficiency, truth of the claims.

Expected values come from outside the estimator: UNIFAC of thermo, published vapour pressure equations, and the truth of
simulated runs. What a bound here refuses is said beside it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from fractionkit.inference.nodes import HUG
from fractionkit.mixture import Mixture
from fractionkit.substances.activity_sources import group_contribution
from tests.proof.bound import least_sd
from tests.proof.coverage import PAIRS, TERNARIES, Cuts, study
from tests.proof.simulate import GOOD, PLAIN, benches, readings
from tests.proof.tables import coverage, errors, false_claims, hit80, hit95, ratio
from tests.proof.truth import Unifac, draw_control, draw_truth

SEED = 4
SMALL = (PAIRS[0], PAIRS[3], PAIRS[4], PAIRS[6])


@lru_cache(maxsize=1)
def runs() -> tuple[Cuts, ...]:
    """About 280 cuts: four pairs, both qualities, other constants than the estimator's."""
    return tuple(study(names, 4, quality, SEED) for names in SMALL for quality in (GOOD, PLAIN))


@lru_cache(maxsize=1)
def control() -> tuple[Cuts, ...]:
    """About 150 cuts whose truth is drawn from the estimator's prior."""
    pairs = (PAIRS[3], PAIRS[6])
    return tuple(study(names, 4, quality, SEED, control=True) for names in pairs for quality in (GOOD, PLAIN))


@pytest.mark.parametrize("model", ["UNIFAC", "Dortmund"])
def test_truths_activity_is_that_of_thermo(model):
    names = ("chloroform", "ethanol")
    x, T = np.array([0.01, 0.3, 0.5, 0.9]), np.array([330.0, 340.0, 350.0, 345.0])
    ours = Unifac(names, model).ln_gamma(np.stack([x, 1.0 - x], axis=-1), T)
    assert np.abs(ours - group_contribution(model, *names)(x, T)).max() < 1e-12


def test_controls_activity_error_obeys_gibbs_and_duhem():
    """sum_k x_k d ln gamma_k = 0 along any direction at constant T: a wrong derivative of the added terms fails."""
    truth = draw_control(TERNARIES[0], 1, np.random.default_rng(1))
    x, step, T = np.array([[0.2, 0.5, 0.3]]), np.array([[1e-5, -3e-5, 2e-5]]), np.array([330.0])
    change = truth.ln_gamma(x + step, T) - truth.ln_gamma(x - step, T)
    scale = np.abs(change).max()
    assert abs(float((x * change).sum())) < 1e-5 * scale


def test_truths_dew_and_bubble_point_are_inverse():
    truth = draw_truth(TERNARIES[1], 6, np.random.default_rng(2))
    x = np.random.default_rng(3).dirichlet(np.ones(3), 6)
    T, y = truth.bubble_point(x, np.full(6, 98e3))
    back, liquid = truth.dew_point(y, np.full(6, 98e3))
    assert np.abs(back - T).max() < 1e-4
    assert np.abs(liquid - x).max() < 1e-5


def test_truth_is_not_the_estimators():
    """The truth's boiling points differ from the estimator's by more than rounding, and by less than 5 K."""
    truth = draw_truth(PAIRS[5], 8, np.random.default_rng(5))
    x = np.tile([0.5, 0.5], (8, 1))
    theirs, _ = truth.bubble_point(x, np.full(8, 98e3))
    ours, _ = Mixture(PAIRS[5]).bubble_point(x, 98e3)
    assert np.abs(theirs - ours).min() > 0.02
    assert np.abs(theirs - ours).max() < 5.0


def test_bound_of_one_density_is_its_closed_form():
    """One density, nothing shared but its bias: sd = sqrt(bias^2 + repeat^2 + model^2) / |d rho/d w|, less the prior."""
    mixture = Mixture(PAIRS[0])
    bench = next(b for b in benches(PAIRS[0], 30, 1) if not b.has_head.any())
    evidence = readings(bench, GOOD, 1)
    k = int(np.argmax(bench.has_density))
    w, T = bench.w[k], evidence.density_temperature[k]
    slope = float((mixture.density_gradient(w, T) * [1.0, -1.0]).sum())
    repeat, bias = evidence.density.repeat[k], evidence.density.shared["density"][k]
    alone = np.sqrt(repeat**2 + bias**2 + (mixture.density_errors(w, T) ** 2).sum()) / abs(slope)
    found = least_sd(mixture, evidence, bench.w)[k, 0]
    # the other cuts share the errors, so they can only help; a fresh repeatability can never be undercut
    assert repeat / abs(slope) * 0.999 < found <= 1.001 / np.sqrt(1.0 / alone**2 + 4.0 * (2.0 * HUG + 1.0))


def test_no_run_is_refused():
    assert sum(cuts.refused for cuts in (*runs(), *control())) == 0


def test_a_far_truth_is_found():
    """1,1,1-trichloroethane + trichloroethylene, whose activity is known worst: head temperatures kelvins off what is
    expected. A climb to the mode that strides too far starves the samples in three of these four."""
    found = study(PAIRS[5], 4, GOOD, 5)
    assert found.refused == 0
    assert coverage([found], hit95) > 0.75


def limit(found: tuple[Cuts, ...], level: float) -> float:
    """Three binomial standard errors; cuts of a run share errors, so that four of them tell as much as one alone."""
    return 3.0 * float(np.sqrt(level * (1.0 - level) * 4.0 / sum(len(cuts.truth) for cuts in found)))


@pytest.mark.parametrize("found", [runs, control])
def test_intervals_hold_the_truth(found):
    """Intervals half as wide as they should be (68 % instead of 95 %) fail. In the control no constant can be blamed."""
    cuts = found()
    assert sum(len(part.truth) for part in cuts) >= 130
    assert abs(coverage(cuts, hit95) - 0.95) < limit(cuts, 0.95)
    assert abs(coverage(cuts, hit80) - 0.80) < limit(cuts, 0.80)


@pytest.mark.parametrize("found", [runs, control])
def test_intervals_are_as_narrow_as_readings_allow(found):
    """For each mixture and quality: errors not shared between cuts or a reading left unused are above; cells too coarse
    for a sharp reading, which make an estimator sure of a model error that it cannot know, are below."""
    assert 0.85 < ratio(found()) < 1.15
    for cuts in found():
        assert 0.75 < ratio([cuts]) < 1.3, (cuts.names, cuts.quality)
        assert coverage([cuts], hit95) > 0.7, (cuts.names, cuts.quality)


def test_estimates_beat_the_hand_methods():
    for cuts in runs():
        ours, line, raoult = errors(cuts)
        if min(line, raoult) > 0.01:
            assert ours < 0.8 * min(line, raoult), cuts.names


def test_lots_declared_good_are_good():
    declared, wrong = false_claims((*runs(), *control()))
    assert declared > 40
    assert wrong <= 0.05 * declared + 3.0 * np.sqrt(0.05 * 0.95 * declared)
