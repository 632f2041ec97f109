"""Campaigns against the linear balance that holds where every batch is divided in the same proportions.

A part r_i of whatever component i is charged is carried on, whatever the batch: stage k leaves z_k = r (f + z_k-1), so

    z_k = f r (1 - r**k) / (1 - r),        z_infinity = f r / (1 - r),        kept_k = s (f + z_k-1),

a geometric approach (the recycle around a separator: any textbook of material balances). In differential distillation
with constant relative volatility (Rayleigh: n_i = n_i0 s**alpha_i) the proportions are those at fixed s, whatever the
charge, so the real still obeys the same balance.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from fractionkit.planning.campaign.core import Split, simulate
from fractionkit.planning.campaign.settle import settling
from fractionkit.still import ConstantVolatility, distil

FEED = np.array([[0.5, 0.3, 0.2], [0.4, 0.4, 0.2]])
KEPT = np.array([0.05, 0.60, 0.02])
CARRIED = np.array([0.25, 0.35, 0.08])
THROWN = np.array([0.70, 0.01, 0.10])


def split(charge, parts, kept, meets=1.0):
    """Receivers that take fixed parts (C, n) of each component."""
    amounts = charge[:, :, None, :] * np.asarray(parts)
    nothing = np.full(charge.shape[:2], np.nan)
    return Split(
        amounts=amounts,
        rest=charge - amounts.sum(axis=2),
        kept=np.broadcast_to(np.arange(amounts.shape[2]) == kept, (len(charge), amounts.shape[2])),
        meets=np.full(len(charge), meets),
        time=nothing,
        heat=nothing,
    )


def test_recycle_is_the_linear_balance_batch_by_batch():
    made = simulate(FEED, lambda charge: split(charge, [THROWN, KEPT, CARRIED], 1), 40, [0, 1], 1)
    k = np.arange(1, 41)[:, None]
    geometric = CARRIED * (1.0 - CARRIED**k) / (1.0 - CARRIED)
    for s, feed in enumerate(FEED):
        np.testing.assert_allclose(made.recycle[1, s], feed * geometric, rtol=1e-12)
        before = np.concatenate([np.zeros((1, 3)), feed * geometric[:-1]])
        np.testing.assert_allclose(made.kept[1, s], KEPT * (feed + before), rtol=1e-12)
        np.testing.assert_allclose(made.recycle[1, s, -1], feed * CARRIED / (1.0 - CARRIED), rtol=1e-9)
        # nothing carried: every batch is the first one
        np.testing.assert_allclose(made.kept[0, s], np.tile(KEPT * feed, (40, 1)), rtol=1e-12)
    assert made.imbalance() < 1e-14


@pytest.mark.parametrize("part", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("tolerance", [0.01, 0.001])
def test_settles_when_the_geometric_series_says_so(part, tolerance):
    """d_k = f r**k and everything after it, d_k r / (1 - r), both at most the tolerance of z_k."""
    k = np.arange(1, 101)
    recycle = part * (1.0 - part**k) / (1.0 - part)
    change = part**k
    expected = k[(np.maximum(change, change * part / (1.0 - part)) <= tolerance * recycle) & (k > 1)][0]
    found = settling(recycle[None, :, None], tolerance)
    assert found.batch[0] == expected
    assert found.last == expected
    assert found.settled == 1.0


def test_a_real_still_cut_at_fixed_proportions_settles_where_the_balance_says():
    """Simple distillation, cut where s has fallen to given values; volatility 4, 2 and 1."""
    alpha, marks = np.array([4.0, 2.0, 1.0]), np.array([1.0, 0.8, 0.5, 0.25])
    parts = marks[:-1, None] ** alpha - marks[1:, None] ** alpha

    def divide(charge):
        rows = charge.reshape(-1, 3)
        made = distil(ConstantVolatility(alpha), rows, 1, 0.0, 101325.0, tolerance=1e-8, distilled=0.98)
        ends = np.array([(rows * (1.0 - s**alpha)).sum(axis=1) for s in marks[1:]]).T
        cuts = made.cut_at_mass(ends)
        amounts = cuts.amounts.reshape(*charge.shape[:2], 3, 3)
        nothing = np.full(charge.shape[:2], np.nan)
        keep = np.broadcast_to([False, True, False], (len(charge), 3))
        return Split(amounts, charge - amounts.sum(axis=2), keep, np.ones(len(charge)), nothing, nothing)

    made = simulate(FEED, divide, 12, [2], 1)
    carried = parts[0] + parts[2]
    steady = FEED * carried / (1.0 - carried)
    np.testing.assert_allclose(made.recycle[0, :, -1], steady * (1.0 - carried**12), rtol=0, atol=1e-6)
    last = (FEED + steady * (1.0 - carried**11)) * parts[1]
    np.testing.assert_allclose(made.kept[0, :, -1], last, rtol=0, atol=1e-6)
    assert made.imbalance() < 1e-9


def test_cuts_of_one_still_closed_form_of_the_first_batch():
    """The first batch of any campaign is the distillation alone: Rayleigh's amounts, volatility 3."""
    n, alpha = np.array([0.5, 0.5]), np.array([3.0, 1.0])
    s = brentq(lambda s: (n * (1.0 - s**alpha)).sum() - 0.4, 0.01, 1.0, xtol=1e-15)
    over = distil(ConstantVolatility(alpha), n, 1, 0.0, 101325.0, tolerance=1e-10).cut_at_mass([0.4]).amounts[0]
    made = simulate(n[None], lambda charge: split(charge, [over / n], 0), 1, [0], 0)
    np.testing.assert_allclose(made.kept[0, 0, 0], n * (1.0 - s**alpha), rtol=0, atol=1e-8)
