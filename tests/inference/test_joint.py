"""The joint posterior against the closed form that a linear model with normal errors has."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.composition.posterior import summarise
from fractionkit.inference import nodes as points
from fractionkit.inference.channels import Normal
from fractionkit.inference.importance import sample_shared
from fractionkit.inference.joint import Block, Channel, expand, find_mode, shares
from fractionkit.inference.summary import Marginals

SPAN, REPEAT = 100.0, 0.8  # a reading that moves by SPAN from w = 0 to 1
SLOPES = np.array([[1.5, 0.0, 0.7], [0.0, 2.0, -0.5]])  # two kinds of reading feel three shared errors


def linear_run(readings, cells=400):
    """Two kinds of reading of every cut, both linear in w_1; one wide block."""
    cuts = len(readings)
    edges = np.linspace(0, 1, cells + 1)
    nodes = points._from_windows(
        np.tile(edges[:-1], (cuts, 1))[..., None], np.tile(edges[1:], (cuts, 1))[..., None], (cells,)
    )
    nodes = replace(nodes, log_volume=np.full(nodes.log_volume.shape, -np.log(cells)))  # a flat prior has closed forms
    channels = []
    for kind, slope in enumerate(SLOPES):
        sign = 1.0 if kind == 0 else -1.0
        channels.append(
            Channel(
                f"kind {kind}",
                Normal.of(readings[:, kind], np.full(cuts, REPEAT)),
                sign * SPAN * nodes.w[..., 0],
                np.arange(3),
                np.broadcast_to(slope, (cuts, cells, 3)),
                np.zeros(0, dtype=np.intp),
                np.zeros((cuts, cells, 0)),
            )
        )
    return [Block(slice(0, cuts), nodes, tuple(channels))]


def closed_form(readings):
    """Generalised least squares for (w_1..w_K, theta): flat prior on w, standard normal on theta."""
    cuts = len(readings)
    rows, values = [], []
    for k in range(cuts):
        for kind, slope in enumerate(SLOPES):
            row = np.zeros(cuts + 3)
            row[k] = SPAN if kind == 0 else -SPAN
            row[cuts:] = slope
            rows.append(row / REPEAT)
            values.append(readings[k, kind] / REPEAT)
    rows = np.vstack([*rows, np.hstack([np.zeros((3, cuts)), np.eye(3)])])
    values = np.concatenate([values, np.zeros(3)])
    covariance = np.linalg.inv(rows.T @ rows)
    return covariance @ rows.T @ values, covariance


@pytest.fixture(scope="module")
def readings():
    rng = np.random.default_rng(7)
    w, theta = rng.uniform(0.2, 0.8, 5), np.array([1.2, -0.8, 0.5])
    sign = np.array([1.0, -1.0])
    return sign * SPAN * w[:, None] + SLOPES @ theta + REPEAT * rng.standard_normal((5, 2))


def test_mode_and_covariance_of_the_shared_errors(readings):
    mode, covariance = find_mode(linear_run(readings), 3)
    truth, truth_covariance = closed_form(readings)
    np.testing.assert_allclose(mode, truth[5:], atol=2e-3)
    np.testing.assert_allclose(covariance, truth_covariance[5:, 5:], atol=2e-3)


def test_gradient_and_hessian_agree_with_finite_differences(readings):
    blocks, at, step = linear_run(readings), np.array([0.3, -0.4, 0.2]), 1e-4
    here = expand(blocks, at)
    for i in range(3):
        move = step * np.eye(3)[i]
        up, down = expand(blocks, at + move), expand(blocks, at - move)
        assert here.gradient[i] == pytest.approx((up.value - down.value) / (2 * step), rel=1e-4, abs=1e-4)
        np.testing.assert_allclose(here.hessian[i], (up.gradient - down.gradient) / (2 * step), rtol=1e-3, atol=1e-3)


def test_compositions_and_draws(readings):
    blocks = linear_run(readings)
    truth, covariance = closed_form(readings)
    mode, spread = find_mode(blocks, 3)
    shared = sample_shared(blocks, mode, spread, 2048)
    weights, draws, _ = summarise(blocks, shares(blocks, shared.theta), shared, 5, 2, 4096)
    marginals = Marginals.of(blocks[0].nodes, weights[0])
    sd = np.sqrt(np.diag(covariance))[:5]
    np.testing.assert_allclose(marginals.mean[:, 0], truth[:5], atol=0.08 * sd.max())
    np.testing.assert_allclose(0.5 * (marginals.high - marginals.low)[:, 0] / 1.96, sd, rtol=0.05)
    correlation = np.corrcoef(draws[..., 0].T)
    expected = covariance[:5, :5] / np.outer(sd, sd)
    np.testing.assert_allclose(correlation, expected, atol=0.06)
    assert shared.effective > 0.5 * 2048


def test_the_same_readings_give_the_same_answer(readings):
    answers = []
    for _ in range(2):
        blocks = linear_run(readings)
        mode, spread = find_mode(blocks, 3)
        shared = sample_shared(blocks, mode, spread)
        answers.append(summarise(blocks, shares(blocks, shared.theta), shared, 5, 2, 512)[1])
    np.testing.assert_array_equal(*answers)


def test_log_evidence_agrees_with_the_closed_form():
    """One cut, so few unknowns that the evidence is a plain two-dimensional normal integral (scipy's density)."""
    from scipy.integrate import quad
    from scipy.stats import multivariate_normal

    observed = np.array([[48.0, -50.5]])
    blocks = linear_run(observed)
    mode, spread = find_mode(blocks, 3)
    found = sample_shared(blocks, mode, spread, 4096).log_evidence
    covariance = SLOPES @ SLOPES.T + REPEAT**2 * np.eye(2)
    density = multivariate_normal(observed[0], covariance)
    truth, _ = quad(lambda w: density.pdf([SPAN * w, -SPAN * w]), 0.4, 0.6)
    # The code leaves the readings' own normalising constants out.
    assert found == pytest.approx(np.log(truth) + 2 * np.log(REPEAT * np.sqrt(2 * np.pi)), abs=0.03)


def test_a_run_without_any_reading_is_left_at_the_prior():
    """Nothing was read: half of each component, anything from none to all, no shared error."""
    from fractionkit.composition.evidence import Evidence, nothing
    from fractionkit.composition.posterior import fit_evidence
    from fractionkit.mixture import Mixture

    none, unread = nothing(3), np.full(3, np.nan)
    evidence = Evidence(("C1", "C2", "C3"), 101325.0, 50.0, none, none, none, none, none, unread, none, unread)
    found = fit_evidence(Mixture(["chloroform", "carbon tetrachloride"]), evidence)
    assert found.theta.shape == (len(found.draws), 0)
    np.testing.assert_allclose(found.mean, 0.5, atol=0.01)
    assert (found.low < 0.02).all()
    assert (found.high > 0.98).all()
