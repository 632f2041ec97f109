"""Point sets on the simplex: volumes, reach, refinement."""

import numpy as np
import pytest

from fractionkit.composition import nodes as points


@pytest.mark.parametrize("n", [2, 3])
def test_coarse_cells_fill_the_simplex_once(n):
    cells = points.coarse(n)
    assert np.exp(cells.log_volume).sum() == pytest.approx(1.0, abs=1e-12)
    assert cells.w.min() >= 0.0
    np.testing.assert_allclose(cells.w.sum(axis=-1), 1.0, atol=1e-14)
    np.testing.assert_allclose(cells.reach[0, :, 0], 0.0, atol=1e-15)
    np.testing.assert_allclose(cells.reach[0, :, 1], 1.0, atol=1e-15)


def test_triangle_cells_integrate_the_uniform_distribution():
    """Moments of a flat Dirichlet distribution: E w_i = 1/3, E w_i^2 = 1/6 (closed form)."""
    cells = points.coarse(3)
    weight = np.exp(cells.log_volume[0])
    np.testing.assert_allclose(weight @ cells.w[0], 1 / 3, atol=2e-4)
    np.testing.assert_allclose(weight @ cells.w[0] ** 2, 1 / 6, atol=2e-4)


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("centre", [(0.3, 0.4), (0.999, 0.0005), (0.002, 0.5)])
def test_refined_cells_carry_what_the_coarse_cells_carried(n, centre):
    """The integral of a narrow bump over the fine cells agrees with adaptive quadrature of scipy."""
    from scipy.integrate import dblquad, quad

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
    if n == 2:
        truth, _ = quad(bump, 0.0, 1.0, points=[a], epsabs=1e-13)
    else:
        low, high = (max(0.0, b - 8 * sd), min(1.0, b + 8 * sd))
        truth, _ = dblquad(lambda v, u: 2.0 * (1.0 - u) * bump(u, v), max(0, a - 8 * sd), min(1, a + 8 * sd), low, high)
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
    # Closed form: integral over b is sd sqrt(2 pi), as the ridge stays inside 0..1; over a, 2 (1 - a) gives one.
    assert found == pytest.approx(0.006 * np.sqrt(2 * np.pi), rel=0.01)
