"""Coverage intervals and draws, against scipy's distributions."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import beta, norm

from fractionkit.inference import nodes as points
from fractionkit.inference.summary import coverage_interval, draw_cells, pick_samples, shortest_interval


@pytest.mark.parametrize(("a", "b"), [(20.0, 30.0), (2.0, 8.0), (1.0, 30.0), (200.0, 1.0), (1.0, 1.0)])
def test_shortest_interval_of_a_beta_distribution(a, b):
    edges = np.linspace(0, 1, 2001)
    truth = beta(a, b)
    weight = np.diff(truth.cdf(edges))[None]
    low, high = shortest_interval(0.5 * (edges[:-1] + edges[1:])[None], weight, np.array([[0.0, 1.0]]))
    best = minimize_scalar(lambda p: truth.ppf(p + 0.95) - truth.ppf(p), bounds=(0, 0.05), method="bounded")
    assert truth.cdf(high[0]) - truth.cdf(low[0]) == pytest.approx(0.95, abs=2e-3)
    assert high[0] - low[0] <= best.fun + 1e-3
    assert 0.0 <= low[0] <= high[0] <= 1.0


def test_an_interval_at_the_edge_includes_the_edge():
    edges = np.linspace(0.9, 1.0, 201)
    weight = np.exp(-(1.0 - edges[:-1]) / 0.01)
    low, high = shortest_interval(
        0.5 * (edges[:-1] + edges[1:])[None], weight[None] / weight.sum(), np.array([[0.9, 1.0]])
    )
    assert high[0] == 1.0
    assert low[0] == pytest.approx(1.0 - 0.01 * np.log(20), abs=1e-3)  # closed form of an exponential tail


@pytest.mark.parametrize(("coverage", "least"), [(0.8, 0.775), (0.95, 0.94)])
def test_intervals_hold_every_true_fraction_off_the_edge(coverage, least):
    """One normal reading of a fraction near nothing, the prior of the nodes: whatever the true fraction, the interval
    holds it about as often as it says (integrals over scipy's normal density); the shortest does not."""
    sd = 0.005
    edges, reading = np.linspace(0.0, 0.08, 801), np.linspace(-0.03, 0.06, 601)
    middle = 0.5 * (edges[:-1] + edges[1:])
    weight = points.beta_share(edges[:-1], edges[1:], points.HUG, points.HUG) * norm.pdf(reading[:, None], middle, sd)
    weight /= weight.sum(axis=1, keepdims=True)
    reach = np.tile([0.0, 0.08], (len(reading), 1))
    held = {}
    for interval in (coverage_interval, shortest_interval):
        low, high = interval(np.broadcast_to(middle, weight.shape), weight, reach, coverage)
        held[interval] = [
            np.average((low <= true) & (true <= high), weights=norm.pdf(reading, true, sd))
            for true in sd * np.array([0.0, 0.2, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0])
        ]
    assert min(held[coverage_interval]) > least
    assert min(held[shortest_interval]) < least
    assert min(held[coverage_interval][-2:]) < coverage + 0.02  # no wider than needed away from the edge


def test_wide_and_inner_intervals_are_the_shortest():
    edges = np.linspace(0, 1, 2001)
    for truth in (beta(20.0, 30.0), beta(1.0, 1.5)):
        arguments = (0.5 * (edges[:-1] + edges[1:])[None], np.diff(truth.cdf(edges))[None], np.array([[0.0, 1.0]]))
        np.testing.assert_allclose(coverage_interval(*arguments), shortest_interval(*arguments), atol=2e-3)


def test_picked_samples_follow_the_weights():
    weights = np.array([0.5, 0.25, 0.125, 0.125])
    picked = pick_samples(weights, 800, np.random.default_rng(1))
    np.testing.assert_array_equal(np.bincount(picked), [400, 200, 100, 100])


def test_draws_follow_the_cells():
    """Draws from a known distribution on the triangle: its mean, and each draw a composition."""
    cells = points.coarse(3)
    share = np.exp(cells.log_volume[0]) * np.prod(cells.w[0] ** (np.array([3.0, 2.0, 1.0]) - points.HUG), axis=1)
    share /= share.sum()
    draws = draw_cells(cells, share[None, :, None], np.zeros(20000, dtype=np.intp), np.random.default_rng(2))
    np.testing.assert_allclose(draws.sum(axis=-1), 1.0, atol=1e-12)
    # w_1^2 w_2 times the flat density is a Dirichlet(3, 2, 1) distribution: means 1/2, 1/3, 1/6 (closed form).
    np.testing.assert_allclose(draws[:, 0].mean(axis=0), [1 / 2, 1 / 3, 1 / 6], atol=0.006)
