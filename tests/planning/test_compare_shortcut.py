"""Fenske, Underwood and Gilliland against stepping stages off, and the limit at total reflux."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.planning.shortcut import (
    first_drop,
    hardest_pair,
    least_reflux,
    least_stages,
    shortcut,
    stages_needed,
)
from fractionkit.still import ConstantVolatility, distil

alphas = st.floats(1.1, 6.0)
shares = st.floats(0.02, 0.9)


def lifted(alpha, z, stages, reflux, top):
    """Stages stepped off from the pot upwards along the operating line that ends at ``top``."""
    x = z
    for _ in range(stages):
        y = alpha * x / (1.0 + (alpha - 1.0) * x)
        x = max(((reflux + 1.0) * y - top) / reflux, 0.0) if np.isfinite(reflux) else y
    return y


def top_by_stepping(alpha, z, stages, reflux):
    """Distillate of a column over a pot of ``z``: the top for which the steps end at itself, by bisection."""
    low, high = z, 1.0
    for _ in range(200):
        top = 0.5 * (low + high)
        low, high = (top, high) if lifted(alpha, z, stages, reflux, top) > top else (low, top)
    return 0.5 * (low + high)


@given(alphas, shares, st.integers(1, 12))
def test_fenske_is_stages_stepped_off_at_total_reflux(alpha, z, stages):
    top = lifted(alpha, z, stages, np.inf, None)
    if top < 1.0 - 1e-9:
        assert least_stages(alpha, z, top) == pytest.approx(stages, rel=1e-5)


@given(alphas, shares)
def test_underwood_is_the_pinch_of_endless_stages(alpha, z):
    top = 0.5 * (1.0 + alpha * z / (1.0 + (alpha - 1.0) * z))
    reflux = float(least_reflux(alpha, z, top))
    # at this reflux endless stages just reach the top, at 2 % more some number does, at 2 % less none does
    assert lifted(alpha, z, 4000, 1.02 * reflux, top) >= top
    assert lifted(alpha, z, 4000, 0.98 * reflux, top) < top


@pytest.mark.parametrize("stages", [2, 4, 8])
def test_fenske_is_the_first_drop_of_the_distillation_at_total_reflux(stages):
    course = distil(ConstantVolatility([2.5, 1.0]), [0.4, 0.6], stages, 1e6, 101325.0)
    assert least_stages(2.5, 0.4, course.distillate[0, 0]) == pytest.approx(stages, abs=1e-3)


@pytest.mark.parametrize(
    "alpha, z, reflux, stages", [(2.5, 0.4, 3.0, 6), (2.5, 0.4, 5.0, 4), (1.5, 0.5, 10.0, 12), (2.0, 0.3, 8.0, 8)]
)
def test_gilliland_is_near_the_stages_stepped_off(alpha, z, reflux, stages):
    """Gilliland's correlation is for columns with both sections; it is off by some tenths of the stages."""
    exact = top_by_stepping(alpha, z, stages, reflux)
    assert stages_needed(alpha, z, exact, reflux) == pytest.approx(stages, rel=0.3)
    course = distil(ConstantVolatility([alpha, 1.0]), [z, 1.0 - z], stages, reflux, 101325.0)
    assert course.distillate[0, 0] == pytest.approx(exact, abs=1e-6)


def test_gilliland_ends_where_it_must():
    assert stages_needed(2.0, 0.5, 0.95, 1e9) == pytest.approx(float(least_stages(2.0, 0.5, 0.95)), rel=1e-4)
    assert np.isinf(stages_needed(2.0, 0.5, 0.95, float(least_reflux(2.0, 0.5, 0.95))))
    assert stages_needed(2.0, 0.5, 0.95, 4.0) > stages_needed(2.0, 0.5, 0.95, 8.0)


@given(alphas, shares, st.floats(1.5, 20.0), st.floats(0.5, 30.0))
def test_first_drop_is_what_the_stages_are_needed_for(alpha, z, stages, reflux):
    top = first_drop(alpha, z, stages, reflux)
    assert z <= top < 1.0
    richer = 1.0 / (1.0 + (1.0 / top - 1.0) * 0.9)
    if top < 1.0 - 1e-9:
        assert stages_needed(alpha, z, richer, reflux) > stages


def test_one_stage_is_the_equilibrium():
    assert first_drop(3.0, 0.25, 1.0, 0.0) == pytest.approx(0.5)


def test_a_pair_with_an_azeotrope_has_no_constant_volatility():
    # chloroform + ethanol boil together at 59.3 °C with 93 wt% chloroform (handbooks, from memory)
    assert hardest_pair(Mixture(["chloroform", "ethanol"]), np.array([0.5, 0.5]), 101325.0, 1) is None


def test_the_hardest_pair_is_the_neighbour_in_boiling_order():
    mixture = Mixture(["dichloromethane", "chloroform", "tetrachloroethylene"])
    pair = hardest_pair(mixture, np.array([0.3, 0.4, 0.3]), 101325.0, 1)
    assert (pair.light, pair.heavy) == (0, 1)
    assert 1.5 < pair.alpha < 3.0
    assert hardest_pair(mixture, np.array([0.0, 0.4, 0.6]), 101325.0, 1).heavy == 2
    assert hardest_pair(mixture, np.array([0.0, 1.0, 0.0]), 101325.0, 1) is None
    made = shortcut(pair, 0.95, 5.0, 3.0, np.array([0.9, 0.1, 0.0]))
    assert made.model == pytest.approx(0.9)
    assert made.least_stages > 1.0
