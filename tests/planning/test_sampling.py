"""Intervals from a hundred draws hold one draw more as often as they say."""

import numpy as np
import pytest
from scipy.stats import beta, norm

from fractionkit.planning.sampling import central


@pytest.mark.parametrize("count", [40, 100, 200])
def test_a_further_draw_falls_within_as_often_as_said(count):
    """Ends between the first and the last draw instead, numpy's usual quantiles, would hold 90, 93 and 94 %."""
    draws = np.random.default_rng(3).standard_normal((count, 4000))
    low, middle, high = central(draws)
    held = norm.cdf(high) - norm.cdf(low)
    # what an interval between order statistics holds is a beta variable of its own; 4,000 of them leave a sixtieth of it
    spread = beta(0.95 * (count + 1), 0.05 * (count + 1)).std() / np.sqrt(4000)
    assert held.mean() == pytest.approx(0.95, abs=4.0 * spread + 0.001)
    assert np.all((low < middle) & (middle < high))


def test_along_another_axis():
    draws = np.random.default_rng(4).uniform(size=(3, 99))
    np.testing.assert_allclose(central(draws, axis=1)[1], np.median(draws, axis=1), rtol=1e-12)
