"""The share of the charge that every vessel carries."""

import numpy as np

from fractionkit.stages.carried import FACTOR, SHARE, with_carried


def test_a_pure_cut_holds_what_it_carries_and_no_more():
    """Of a pure cut the impurity is the share carried times the charge's: its median and quantiles are those stated."""
    charge = np.tile([0.4, 0.6], (20_000, 1))
    w = np.tile([0.0, 1.0], (20_000, 3, 1))
    carried = with_carried(w, charge, np.random.default_rng(1))
    np.testing.assert_allclose(carried.sum(axis=-1), 1.0, rtol=0, atol=1e-12)
    share = carried[..., 0] / 0.4
    low, middle, high = np.quantile(share, [0.025, 0.5, 0.975])
    np.testing.assert_allclose(middle, SHARE, rtol=0.03)
    np.testing.assert_allclose([low, high], SHARE * FACTOR ** np.array([-1.959964, 1.959964]), rtol=0.06)


def test_a_cut_like_the_charge_stays_as_it_is():
    charge = np.tile([0.3, 0.2, 0.5], (8, 1))
    w = np.repeat(charge[:, None], 4, axis=1)
    np.testing.assert_allclose(with_carried(w, charge, np.random.default_rng(2)), w, rtol=0, atol=1e-15)
