"""The tail of importance weights against distributions whose shape is known."""

import numpy as np
import pytest
from scipy.stats import genpareto, norm

from fractionkit.errors import ConvergenceError
from fractionkit.inference import importance
from fractionkit.inference.importance import sample_shared
from fractionkit.inference.pareto import fit_tail, greatest_shape, tail_count, tail_shape
from tests.inference.test_importance import given


@pytest.mark.parametrize("shape", [-0.4, 0.0, 0.3, 0.7, 1.2])
def test_shape_and_scale_of_a_generalized_pareto_distribution(shape):
    """Quantiles of scipy's distribution, evenly spaced: a large sample without its luck."""
    excess = genpareto.ppf((np.arange(4000) + 0.5) / 4000, shape, scale=2.5)
    found, scale = fit_tail(excess)
    assert found == pytest.approx(shape, abs=0.03)
    assert scale == pytest.approx(2.5, rel=0.05)


def test_few_values_are_drawn_towards_a_half():
    """Vehtari et al., appendix C: (M k + 10 * 0.5)/(M + 10)."""
    excess = genpareto.ppf((np.arange(20) + 0.5) / 20, -0.5)
    assert -0.5 < fit_tail(excess)[0] < 0.2


@pytest.mark.parametrize(("aim", "tolerance"), [(0.8, 0.1), (0.6, 0.1), (0.4, 0.1)])
def test_a_normal_aim_too_narrow(aim, tolerance):
    """Weights of N(0, 1) under N(0, s^2), s < 1: P(w > t) falls as t^(-1/k), k = 1 - s^2."""
    x = aim * norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    assert tail_shape(0.5 * x**2 * (1.0 / aim**2 - 1.0)) == pytest.approx(1.0 - aim**2, abs=tolerance)


def test_alike_and_bounded_weights_have_no_tail():
    assert tail_shape(np.zeros(500)) == -np.inf
    assert tail_shape(np.log(np.random.default_rng(1).uniform(0.5, 1.0, 500))) < 0.0


def test_numbers_of_the_paper():
    """Vehtari et al. (2024): the tail is min(0.2 S, 3 sqrt(S)); the shape allowed min(1 - 1/log10 S, 0.7)."""
    assert tail_count(100) == 20
    assert tail_count(10_000) == 300
    assert greatest_shape(100) == pytest.approx(0.5)
    assert greatest_shape(10_000) == pytest.approx(0.7)


def two_hills(away):
    def log_density(blocks, theta):
        del blocks
        apart = np.logaddexp(-0.5 * (theta[:, 0] - away) ** 2, -0.5 * (theta[:, 0] + away) ** 2)
        return apart - 0.5 * (theta[:, 1:] ** 2).sum(axis=1)

    return log_density


def test_a_second_hill_is_found(monkeypatch):
    """Two hills of a normal at +-2, aimed at one: the samples that count are many, the few on the other outweigh them."""
    given(monkeypatch, two_hills(2.0))
    found = sample_shared((), np.eye(8)[0] * 2.0, np.eye(8), 512)
    assert found.tail < greatest_shape(1024)
    assert found.mean()[0] == pytest.approx(0.0, abs=0.25)
    assert found.sd()[0] == pytest.approx(np.sqrt(5.0), rel=0.1)
    assert found.log_evidence == pytest.approx(np.log(2.0), abs=0.1)


def test_heavy_sides_are_followed(monkeypatch):
    """Student's t with 5 degrees of freedom in 6 dimensions: standard deviation sqrt(5/3)."""
    given(monkeypatch, lambda _, theta: -5.5 * np.log1p((theta**2).sum(axis=1) / 5.0))
    found = sample_shared((), np.zeros(6), np.eye(6), 512)
    np.testing.assert_allclose(found.sd(), np.sqrt(5.0 / 3.0), rtol=0.15)


def test_what_a_few_samples_carry_is_not_stated(monkeypatch):
    """With one round only, the second hill stays badly sampled, though hundreds of samples seem to count."""
    given(monkeypatch, two_hills(2.0))
    monkeypatch.setattr(importance, "ROUNDS", 1)
    with pytest.raises(ConvergenceError, match="outweigh all others"):
        sample_shared((), np.eye(8)[0] * 2.0, np.eye(8), 512)
