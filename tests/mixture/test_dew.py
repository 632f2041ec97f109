"""Dew point: inverse of the bubble point for stable liquids, a valid root for every vapour."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.mixture.azeotropes import stability
from fractionkit.substances import names

SUBSETS = st.lists(st.sampled_from(names()), min_size=1, max_size=4, unique=True)
PRESSURES = st.floats(20e3, 200e3)


@st.composite
def compositions(draw: st.DrawFn, n: int) -> np.ndarray:
    parts = draw(st.lists(st.sampled_from([0.0, 1e-6, 0.01]) | st.floats(1e-4, 1.0), min_size=n, max_size=n))
    if sum(parts) <= 0.0:
        parts[draw(st.integers(0, n - 1))] = 1.0
    return np.array(parts) / sum(parts)


@given(st.data(), SUBSETS, PRESSURES)
@settings(max_examples=120, deadline=None)
def test_every_vapour_has_a_liquid_in_equilibrium(data, subset, pressure):
    mix = Mixture(subset)
    y = data.draw(compositions(mix.n))
    T, x = mix.dew_point(y, pressure)
    assert x.sum() == pytest.approx(1.0, abs=1e-9)
    assert x * np.exp(mix.ln_gamma(x, T) + mix.ln_psat(T)) / pressure == pytest.approx(y, abs=1e-7)
    assert (x[y == 0.0] == 0.0).all()
    # the highest root is a liquid that does not split by itself
    present = y > 0.0
    if present.sum() > 1:
        assert float(stability(mix.constants.activity, x, T)) > -1e-6


@given(st.data(), SUBSETS, PRESSURES)
@settings(max_examples=80, deadline=None)
def test_dew_undoes_bubble_where_the_liquid_is_stable(data, subset, pressure):
    mix = Mixture(subset)
    x = data.draw(compositions(mix.n))
    T, y = mix.bubble_point(x, pressure)
    back_T, back = mix.dew_point(y, pressure)
    assert back_T >= T - 1e-7  # the dew point is the highest root
    if not mix.may_split:
        assert back_T == pytest.approx(T, abs=1e-7)
        assert back == pytest.approx(x, abs=1e-6)


def test_ten_thousand_vapours_of_a_strongly_nonideal_liquid():
    mix = Mixture(["chloroform", "methanol", "acetone"])
    x = np.random.default_rng(3).dirichlet(np.full(3, 0.5), 10_000)
    T, y = mix.bubble_point(x, 98.6e3)
    back_T, back = mix.dew_point(y, 98.6e3)
    assert np.abs(back_T - T).max() < 1e-7
    assert np.abs(back - x).max() < 1e-6


def test_the_stable_one_of_two_roots_is_returned():
    """Vapours of chloroform + water: on either side of the heteroazeotrope the other liquid forms."""
    mix = Mixture(["chloroform", "water"])
    hetero = mix.immiscible_boiling_point(0, 1, 101325.0)
    assert hetero is not None
    grid = np.linspace(0.01, 0.99, 99)
    T, x = mix.dew_point(np.stack([grid, 1.0 - grid], axis=-1), 101325.0)
    assert T.min() >= hetero.T - 1e-6
    assert (x[grid < hetero.x[0], 0] < 0.1).all()
    assert (x[grid > hetero.x[0], 0] > 0.9).all()


def test_slope_by_differences():
    mix = Mixture(["chloroform", "methanol", "trichloroethylene"])
    y = np.array([0.3, 0.3, 0.4])
    T, x = mix.dew_point(y, 101325.0)
    up, down = (mix.dew_point(y, 101325.0 * np.exp(s))[0] for s in (1e-5, -1e-5))
    assert mix.dew_slope(T, x) == pytest.approx((up - down) / 2e-5, rel=1e-5)
