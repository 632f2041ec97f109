"""Polynomials through few points against functions known everywhere."""

import numpy as np
import pytest
from numpy.polynomial import chebyshev as numpys

from fractionkit.inference.chebyshev import grid, points, tabulated, through

AXIS, CHECKS = np.linspace(0.0, 1.0, 41), np.linspace(0.0, 1.0, 9)


def test_the_polynomial_is_numpys():
    """numpy.polynomial fits the same polynomial to the same points by least squares."""
    values = np.exp(2.0 * points(9)) / (points(9) + 0.3)
    theirs = numpys.Chebyshev.fit(points(9), values, 8, domain=[0.0, 1.0])(AXIS)
    np.testing.assert_allclose(through(9, AXIS) @ values, theirs, atol=1e-11)


@pytest.mark.parametrize("dimensions", [1, 2])
def test_a_smooth_function_is_worked_out_at_few_points(dimensions):
    asked = []

    def smooth(at):
        asked.append(at[..., 0].size)
        total = at.sum(axis=-1)
        return np.stack([np.exp(-total), 1.0 / (0.4 + total)], axis=-1)

    exact = smooth(grid(AXIS, dimensions))
    known = smooth(grid(CHECKS, dimensions))
    asked.clear()
    found = tabulated(smooth, AXIS, (5, 17), CHECKS, known, np.full(2, 1e-3))
    assert asked == [5**dimensions, 17**dimensions]  # five points do not do
    np.testing.assert_allclose(found, exact, atol=2e-3)


@pytest.mark.parametrize("dimensions", [1, 2])
def test_a_kink_is_noticed(dimensions):
    def kinked(at):
        return np.abs(at[..., :1] - 0.43)

    known = kinked(grid(CHECKS, dimensions))
    assert tabulated(kinked, AXIS, (9, 17), CHECKS, known, np.full(1, 1e-3)) is None
