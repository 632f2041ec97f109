"""Point sets on the simplex: prior shares, reach, refinement."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import beta as beta_function
from scipy.stats import beta

from fractionkit.inference import nodes as points
from fractionkit.inference.nodes import HUG, beta_share
from fractionkit.inference.scatter_nodes import flat_points, gathered_points


def prior_mean(function, p, q, low=0.0, high=1.0):
    """Integral of a function of a Beta(p, q) variable over part of 0..1; scipy's rule for powers at the ends."""
    cut = 0.5 * (low + high)
    one = 1.0 / beta_function(p, q)
    if low == 0.0:
        left = quad(lambda u: one * function(u) * (1.0 - u) ** (q - 1.0), low, cut, weight="alg", wvar=(p - 1.0, 0.0))
    else:
        left = quad(lambda u: function(u) * beta(p, q).pdf(u), low, cut)
    if high == 1.0:
        right = quad(lambda u: one * function(u) * u ** (p - 1.0), cut, high, weight="alg", wvar=(0.0, q - 1.0))
    else:
        right = quad(lambda u: function(u) * beta(p, q).pdf(u), cut, high)
    return left[0] + right[0]


@pytest.mark.parametrize("n", [2, 3])
def test_coarse_cells_fill_the_simplex_once(n):
    cells = points.coarse(n)
    assert np.exp(cells.log_volume).sum() == pytest.approx(1.0, abs=1e-4)
    assert cells.w.min() >= 0.0
    np.testing.assert_allclose(cells.w.sum(axis=-1), 1.0, atol=1e-14)
    np.testing.assert_allclose(cells.reach[0, :, 0], 0.0, atol=1e-15)
    np.testing.assert_allclose(cells.reach[0, :, 1], 1.0, atol=1e-15)


@pytest.mark.parametrize(("p", "q"), [(HUG, HUG), (HUG, 2 * HUG)])
def test_shares_of_a_beta_distribution_are_scipys(p, q):
    for edges in (np.linspace(0.0, 1.0, 65), np.linspace(0.0, 1e-4, 9), np.linspace(0.4, 0.6, 5)):
        found = beta_share(edges[:-1], edges[1:], p, q)
        np.testing.assert_allclose(found, np.diff(beta(p, q).cdf(edges)), rtol=1e-3)


def test_triangle_cells_integrate_the_prior():
    """Moments of a symmetric Dirichlet distribution with parameter k: E w_i = 1/3, E w_i^2 = (k + 1)/(3 (3 k + 1))."""
    cells = points.coarse(3)
    weight = np.exp(cells.log_volume[0])
    np.testing.assert_allclose(weight @ cells.w[0], 1 / 3, atol=1e-3)
    np.testing.assert_allclose(weight @ cells.w[0] ** 2, (HUG + 1) / (3 * (3 * HUG + 1)), atol=1e-3)


def test_scattered_points_follow_the_prior():
    """The same moments for four components, before and after the points are gathered where the posterior lies."""
    flat = flat_points(4)
    second = (HUG + 1) / (4 * (4 * HUG + 1))
    weight = np.exp(flat.log_volume[0])
    np.testing.assert_allclose(weight @ flat.w[0] ** 2, second, rtol=0.05)
    gathered = gathered_points(flat, flat.log_volume)
    weight = np.exp(gathered.log_volume[0])
    assert weight.sum() == pytest.approx(1.0, abs=0.05)
    np.testing.assert_allclose(weight @ gathered.w[0] ** 2, second, rtol=0.1)


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("centre", [(0.3, 0.4), (0.999, 0.0005), (0.002, 0.5)])
def test_refined_cells_carry_what_the_coarse_cells_carried(n, centre):
    """The integral of a narrow bump over the fine cells agrees with adaptive quadrature of scipy."""
    a, b = centre
    sd = 0.02

    def log_bump(u, v=b):
        return -0.5 * ((u - a) / sd) ** 2 - 0.5 * ((v - b) / sd) ** 2

    def bump(u, v=b):
        return np.exp(log_bump(u, v))

    coarse = points.coarse(n)
    u = coarse.coordinates[..., 0]
    v = coarse.coordinates[..., 1] if n == 3 else b
    fine = points.refine(coarse.log_volume + log_bump(u, v), n)
    u = fine.coordinates[..., 0]
    v = fine.coordinates[..., 1] if n == 3 else b
    found = (np.exp(fine.log_volume) * bump(u, v)).sum()
    reach = [(max(0.0, c - 8 * sd), min(1.0, c + 8 * sd)) for c in centre]
    if n == 2:
        truth = prior_mean(bump, HUG, HUG, *reach[0])
    else:  # the bump and the prior are both products
        truth = prior_mean(lambda u: bump(u), HUG, 2 * HUG, *reach[0]) * prior_mean(
            lambda v: bump(a, v), HUG, HUG, *reach[1]
        )
    assert found == pytest.approx(truth, rel=5e-3)


def test_refined_cells_follow_a_slanting_ridge():
    """A ridge far narrower than a coarse cell of b keeps its integral, because each row of a has its own window."""
    coarse = points.coarse(3)
    a, b = coarse.coordinates[0].T

    def log_ridge(a, b, sd):
        return -0.5 * ((b - 0.2 - 0.6 * a) / sd) ** 2

    fine = points.refine(log_ridge(a, b, 0.02)[None] + coarse.log_volume, 3)
    a, b = fine.coordinates[0].T
    found = (np.exp(fine.log_volume[0]) * np.exp(log_ridge(a, b, 0.006))).sum()
    # Over b the ridge stays inside 0..1 and is narrow: sd sqrt(2 pi) times the density there.
    along = prior_mean(lambda a: beta(HUG, HUG).pdf(0.2 + 0.6 * a), HUG, 2 * HUG)
    assert found == pytest.approx(0.006 * np.sqrt(2 * np.pi) * along, rel=0.01)
