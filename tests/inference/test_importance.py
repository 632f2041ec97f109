"""Importance sampling on posteriors whose moments and normalising constants are closed forms."""

import numpy as np
import pytest

from fractionkit.errors import ConvergenceError
from fractionkit.inference import importance
from fractionkit.inference.importance import _thinned, sample_shared

BEND, WIDTH = 0.3, 0.4


def given(monkeypatch, log_density):
    """A log density of theta alone in place of a run's, and its gradient by central differences."""

    def gradients(blocks, theta):
        moves = 1e-4 * np.eye(theta.shape[1])
        change = [log_density(blocks, theta + move) - log_density(blocks, theta - move) for move in moves]
        return np.stack(change, axis=-1) / 2e-4

    monkeypatch.setattr(importance, "log_evidence", log_density)
    monkeypatch.setattr(importance, "gradients", gradients)


def bent(blocks, theta):
    """Standard normal in the first, the second a normal about a parabola of it: variance 2 BEND^2 + WIDTH^2, mean 0."""
    del blocks
    first, second = theta[:, 0], theta[:, 1]
    return -0.5 * first**2 - 0.5 * ((second - BEND * (first**2 - 1.0)) / WIDTH) ** 2


@pytest.mark.parametrize("spread", [0.3, 1.0])
def test_a_bent_posterior_is_found_from_a_poor_aim(monkeypatch, spread):
    """The normal about the mode covers a small part of it: further rounds are aimed, and the moments are right."""
    given(monkeypatch, bent)
    found = sample_shared((), np.array([0.0, -BEND]), spread * np.diag([1.0, WIDTH**2]), 2048)
    assert found.effective > 400
    np.testing.assert_allclose(found.mean(), 0.0, atol=0.15)
    np.testing.assert_allclose(found.sd(), [1.0, np.sqrt(2 * BEND**2 + WIDTH**2)], rtol=0.15)
    assert found.log_evidence == pytest.approx(np.log(WIDTH), abs=0.1)  # integral over (2 pi): WIDTH


def test_a_normal_posterior_needs_one_round(monkeypatch):
    calls = []

    def normal(blocks, theta):
        del blocks
        calls.append(len(theta))
        return -0.5 * (theta**2).sum(axis=1)

    monkeypatch.setattr(importance, "log_evidence", normal)
    monkeypatch.setattr(importance, "gradients", lambda _, theta: -theta)
    found = sample_shared((), np.zeros(6), np.eye(6), 512)
    assert calls == [512]
    assert found.log_evidence == pytest.approx(0.0, abs=0.05)


def test_no_interval_is_stated_from_a_few_samples(monkeypatch):
    """Twelve needles far from each other in ten dimensions cannot be found."""
    centres = np.random.default_rng(1).normal(0.0, 6.0, (12, 10))

    def needles(blocks, theta):
        del blocks
        return -0.5 * (((theta[:, None] - centres) / 0.01) ** 2).sum(axis=-1).min(axis=1)

    given(monkeypatch, needles)
    with pytest.raises(ConvergenceError, match="samples carry the answer"):
        sample_shared((), np.zeros(10), np.eye(10), 256)


def test_thinned_samples_stand_for_all_of_them():
    rng = np.random.default_rng(3)
    weights = rng.dirichlet(np.full(4000, 0.05))
    values = rng.standard_normal(4000)
    kept, light = _thinned(weights, 512, rng)
    assert len(kept) <= 512
    assert light.sum() == pytest.approx(1.0)
    heavy = weights > 1.0 / 512
    assert set(np.flatnonzero(heavy)) <= set(kept.tolist())  # none that matters is lost
    assert light @ values[kept] == pytest.approx(weights @ values, abs=0.05)
