"""Parameters of a run and what they mean."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.stages.space import MOST_STAGES, Reflux, Space, Stages
from fractionkit.stages.surrogate import _features


@settings(deadline=None)  # scipy is imported at the first call
@given(st.lists(st.floats(1.0, MOST_STAGES), min_size=1, max_size=8))
def test_stages_and_their_parameter_are_inverse(values):
    for prior in (Stages(), Stages(5.0, 1.5), Stages(1.0, 0.1)):
        stages = np.array(values)
        v = prior.parameter(stages)
        inside = np.abs(v) < 5.0
        np.testing.assert_allclose(prior.at(v)[inside], stages[inside], rtol=1e-6)


def test_stated_stages_are_normal_and_cut_off_at_one():
    v = np.array([-1.959964, 0.0, 1.959964])
    np.testing.assert_allclose(Stages(8.0, 0.5).at(v), [7.02, 8.0, 8.98], atol=1e-3)
    assert Stages(1.0, 0.1).at(np.array([-8.0]))[0] == pytest.approx(1.0, abs=1e-9)


@pytest.fixture(scope="module")
def space():
    mixture = Mixture(["chloroform", "1,2-dichloroethane", "tetrachloroethylene"])
    return Space(mixture, 98600.0, 200.0, Stages(), Reflux.of(3.0, 0.3), np.array([0.3, 0.5, 0.2]), 1.2, 0.01)


@pytest.mark.parametrize(("ratio", "u"), [(1e-320, 0.05), (1e-9, 1e300), (100.0, 1e308), (0.0, 0.05)])
def test_a_reflux_ratio_next_to_nothing_stays_a_number(ratio, u):
    """A sheet that was mangled held 1e-320: what it says of the run must be what a thousandth says, or none at all."""
    small = Reflux.of(ratio, u)
    factor = np.exp(6.0 * small.log_u)  # warnings are errors: nothing overflows within six standard deviations
    assert np.isfinite(factor)
    assert ratio <= small.ratio <= max(ratio, 1e-3)
    assert (small.log_u == 0.0) == (ratio == 0.0)


def test_nothing_off_is_what_was_given(space):
    s = space.scenarios(np.zeros((1, space.size)))
    np.testing.assert_allclose(s.w[0], [0.3, 0.5, 0.2], atol=1e-12)
    assert s.mass[0] == 1.2
    assert s.reflux[0] == 3.0
    assert s.stages[0] == pytest.approx(np.sqrt(MOST_STAGES))
    T, y = s.volatility.bubble_point(np.array([[0.3, 0.4, 0.3]]), 98600.0)
    expected_T, expected_y = space.mixture.bubble_point(np.array([0.3, 0.4, 0.3]), 98600.0)
    assert T[0] == pytest.approx(float(expected_T), abs=0.05)
    np.testing.assert_allclose(y[0], expected_y, atol=1e-3)


def test_blended_mixtures_follow_the_perturbed_ones(space):
    """The blend is linear in the errors; a mixture perturbed by all of them at once is solved itself."""
    rng = np.random.default_rng(3)
    x = np.array([0.2, 0.5, 0.3])
    for _ in range(4):
        v = np.zeros((1, space.size))
        v[0, space.first_error : -1] = 0.5 * rng.standard_normal(space.size - space.first_error - 1)
        theta = np.zeros(len(space.mixture.model_errors))
        theta[space.errors] = v[0, space.first_error : -1] * space.wider
        T, y = space.scenarios(v).volatility.bubble_point(x[None], 98600.0)
        expected_T, expected_y = space.mixture.perturbed(theta).bubble_point(x, 98600.0)
        assert T[0] == pytest.approx(float(expected_T), abs=0.15)
        np.testing.assert_allclose(y[0], expected_y, atol=3e-3)


def test_pressure_off_moves_the_boiling_point(space):
    v = np.zeros((1, space.size))
    v[0, -1] = 2.0
    x = np.array([0.2, 0.5, 0.3])
    T, _ = space.scenarios(v).volatility.bubble_point(x[None], 98600.0)
    expected, _ = space.mixture.bubble_point(x, 99000.0)
    assert T[0] == pytest.approx(float(expected), abs=0.03)


def test_features_are_all_quadratics():
    found = _features(np.array([[2.0, 3.0]]))
    np.testing.assert_array_equal(np.sort(found[0]), [1.0, 2.0, 3.0, 4.0, 6.0, 9.0])
