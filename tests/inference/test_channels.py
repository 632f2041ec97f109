"""Likelihood of each kind of reading, against quadrature and finite differences."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import beta, norm

from fractionkit.inference.channels import Detected, Normal, Range, evenly


@pytest.mark.parametrize("even", [0.0, 0.5])
@pytest.mark.parametrize(("start", "end", "sd"), [(330.0, 330.0, 0.2), (330.0, 330.6, 0.2), (330.0, 345.0, 0.3)])
def test_range_is_the_integral_over_the_place_between_the_readings(start, end, sd, even):
    scatter = Range.between(np.array([start]), np.array([end]), np.array([sd]), even)

    def place(s):
        return (1.0 - even) * (0.6 * beta(20, 20).pdf(s) + 0.4 * beta(3, 3).pdf(s)) + even * beta(1.2, 1.2).pdf(s)

    def likelihood(eta):
        def integrand(s):
            width = sd * np.hypot(1 - s, s)
            return place(s) * norm(start + s * (end - start), width).pdf(eta)

        return quad(integrand, 0.0, 1.0, limit=400, points=[min(max((eta - start) / (end - start + 1e-12), 0), 1)])[0]

    eta = np.linspace(start - 2 * sd, end + 2 * sd, 9)
    found = scatter.log_likelihood(eta[None])[0]
    truth = np.log([likelihood(value) for value in eta])
    np.testing.assert_allclose(found - found.max(), truth - truth.max(), atol=0.12)


def test_the_spread_of_places_is_that_of_the_beta_distributions():
    even = np.array([0.0, 0.3, 0.7])
    mixed = 0.6 * beta(20, 20).var() + 0.4 * beta(3, 3).var()
    scatter = Range.between(np.full(3, 330.0), np.full(3, 340.0), np.full(3, 0.2), even)
    np.testing.assert_allclose(scatter.place_sd(), np.sqrt(mixed + even * (beta(1.2, 1.2).var() - mixed)), rtol=0.03)


def test_places_lie_anywhere_where_neighbours_boil_far_apart():
    """Simulated pairs: standard deviation of places 0.05 to 0.09 up to 35 K, 0.15 at 60 K, 0.21 at 80 K; three components that
    boil 21 and 60 K apart as a pair 60 K apart."""
    assert evenly(np.array([335.0, 360.0])) == 0.0
    assert evenly(np.array([404.0, 313.0, 334.0])) == evenly(np.array([334.0, 404.0])) > 0.0
    spread = [Range.between(*np.array([[330.0], [350.0], [0.2]]), evenly(np.array([300.0, 300.0 + gap]))).place_sd()[0]
              for gap in (60.0, 70.0, 80.0, 90.0)]  # fmt: skip
    np.testing.assert_allclose(spread, [0.15, 0.19, 0.21, 0.24], atol=0.025)


def test_a_range_read_at_one_end_only_is_a_plain_reading():
    scatter = Range.between(np.array([330.0, np.nan]), np.array([np.nan, 331.0]), np.array([0.3, 0.3]))
    eta = np.array([[329.7, 330.0], [331.0, 331.6]])
    found = scatter.log_likelihood(eta)
    # A place over a point leaves the normal shape, with the sd of the mean of two readings between 0.71 and 1.
    assert found[0, 1] == pytest.approx(0.0, abs=0.01)
    assert -0.5 / 0.5 < found[0, 0] < -0.5 * 0.9


def test_a_variance_that_differs_from_node_to_node():
    """Against scipy's normal density, which falls as it grows wide, and against its own scale."""
    eta, more = np.array([[0.0, 1.0, 3.0, 9.0]]), np.array([[0.0, 1.0, 4.0, 25.0]])
    scatter = Normal.of(np.array([2.0]), np.array([0.5]), np.zeros((1, 4)), 1.0, more)
    found, sd = scatter.log_likelihood(eta.copy())[0], np.sqrt(0.25 + more[0])
    truth = norm(eta[0], sd).logpdf(2.0)
    np.testing.assert_allclose(found - found[0], truth - truth[0], atol=1e-12)
    np.testing.assert_allclose(scatter.scale()[0], sd)


def test_nothing_read_says_nothing():
    empty = np.array([np.nan])
    eta = np.array([[300.0, 400.0]])
    assert Range.between(empty, empty, empty).log_likelihood(eta).tolist() == [[0.0, 0.0]]
    assert Normal.of(empty, empty).log_likelihood(eta.copy()).tolist() == [[0.0, 0.0]]
    assert Detected(empty, np.zeros(1)).log_likelihood(eta).tolist() == [[0.0, 0.0]]


@given(st.floats(0.05, 2.0), st.floats(0.0, 12.0), st.floats(-3.0, 3.0))
def test_range_slope_agrees_with_finite_differences(sd, width, place):
    scatter = Range.between(np.array([330.0]), np.array([330.0 + width]), np.array([sd]))
    eta = np.array([[330.0 + 0.5 * width + place * sd]])
    step = 0.5 * scatter.step[0]
    difference = (scatter.log_likelihood(eta + step) - scatter.log_likelihood(eta - step)) / (2 * step)
    slope, _ = scatter.derivatives(eta)
    assert abs(float(slope[0, 0] - difference[0, 0])) < 0.35 / sd  # within one cell of a table linear by pieces


def test_detection_errs_five_times_in_a_hundred_at_nothing_and_at_the_limit():
    """Currie's definition: both kinds of error are 5 % at the ends of the detection limit."""
    positive = Detected(np.array([0.003]), np.array([1.0]))
    negative = Detected(np.array([0.003]), np.array([-1.0]))
    eta = np.array([[0.0, 0.003]])
    np.testing.assert_allclose(np.exp(positive.log_likelihood(eta)), [[0.05, 0.95]], atol=1e-6)
    np.testing.assert_allclose(np.exp(negative.log_likelihood(eta)), [[0.95, 0.05]], atol=1e-6)
