"""What the charge holds, given the errors that its readings share with those of the cuts: against linear algebra."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.composition.evidence import Balance, Evidence, nothing
from fractionkit.composition.posterior import fit_evidence
from fractionkit.courses.charge import Charge, Contents
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured

PAIR = ("chloroform", "carbon tetrachloride")


def test_moments_given_each_sample():
    """Against sums written out: the mean of each sample, the mean over samples of the covariance within."""
    rng = np.random.default_rng(3)
    w, share, weights = rng.dirichlet(np.ones(3), 50), rng.dirichlet(np.ones(50), 4), np.array([0.1, 0.2, 0.3, 0.4])
    found = Charge(2.0, 0.0, 0.0, w).given(share, weights)
    within = sum(p * np.cov(w[:, :2].T, aweights=s, ddof=0) for p, s in zip(weights, share, strict=True))
    np.testing.assert_allclose(found.mean, 2.0 * np.stack([s @ w[:, :2] for s in share]), rtol=1e-12)
    np.testing.assert_allclose(found.covariance, 4.0 * within, rtol=1e-9)
    overall = found.overall(weights)
    np.testing.assert_allclose(
        overall.covariance, 4.0 * np.cov(w[:, :2].T, aweights=weights @ share, ddof=0), rtol=1e-9
    )
    np.testing.assert_allclose(overall.mean[0], 2.0 * (weights @ share @ w[:, :2]), rtol=1e-12)


def test_what_was_lost_is_of_any_composition():
    """100 g lost, each composition of two components alike: 50 g of either, standard deviation 100/sqrt(12) g."""
    found = Charge(1.0, 0.0, 0.1, np.array([[0.3, 0.7]])).given(np.ones((1, 1)), np.ones(1))
    assert found.mean[0, 0] == pytest.approx(0.3 - 0.05)
    assert found.covariance[0, 0] == pytest.approx(0.1**2 / 12.0)


def test_nodes_fit_as_whole_runs_do():
    rng = np.random.default_rng(4)
    root = rng.standard_normal((2, 2))
    contents = Contents(rng.random((3, 2)), root @ root.T + np.eye(2))
    rest, own, samples = rng.random((5, 2)), rng.random((6, 2)), np.array([0, 2, 1, 1, 0])
    log = np.log(contents.fit(rest, own, samples))
    each = np.stack([contents.log_likelihood(rest + node, samples) for node in own], axis=1)
    np.testing.assert_allclose(log, each - each.max(axis=1, keepdims=True), atol=1e-9)


def density_of(shown: np.ndarray, bias: float) -> Measured:
    """Read with one instrument, 0.1 kg/m3 apart from its repeated error."""
    return Measured(shown, np.full(len(shown), 0.1), {"density": np.full(len(shown), bias)})


@pytest.mark.parametrize("bias", [2.0, 5.0])
def test_one_instrument_for_cuts_and_charge_tells_nothing_of_its_own_error(bias):
    """Cuts read w_k + b, the charge their mean + b: their balance holds whatever b is, so the intervals stay as they were.

    Were the charge's error taken for another one, b would be known sqrt(2) times as well.
    """
    mixture = Mixture(PAIR)
    w = np.array([0.8, 0.7, 0.6, 0.5, 0.4, 0.3])
    whole = np.append(w, w.mean())
    shown = mixture.density(np.stack([whole, 1.0 - whole], axis=1), np.full(7, 293.15))
    size = len(w)
    empty = nothing(size)
    alone = Evidence(
        tuple(f"C{k + 1}" for k in range(size)), 1e5, 100.0, empty, empty, empty, empty, density_of(shown[:size], bias),
        np.full(size, 293.15), empty, np.full(size, np.nan), balance=Balance(np.ones(size), ordered=False),
    )  # fmt: skip
    empty = nothing(size + 1)
    both = replace(
        alone, names=(*alone.names, "charge"), head_start=empty, head_end=empty, range_start=empty, range_end=empty,
        density=density_of(shown, bias), density_temperature=np.full(size + 1, 293.15), index=empty,
        index_temperature=np.full(size + 1, np.nan), charge=True,
        balance=Balance(np.ones(size), float(size), 0.001, ordered=False),
    )  # fmt: skip
    before, after = (fit_evidence(mixture, evidence) for evidence in (alone, both))
    ratio = (after.high - after.low)[:, 0] / (before.high - before.low)[:, 0]
    np.testing.assert_allclose(ratio, 1.0, atol=0.06)
