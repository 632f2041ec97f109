"""The balance of a campaign, whatever divides its batches."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.planning.campaign.core import Remembering, Split, simulate
from fractionkit.planning.campaign.settle import gathers, leaving, settling

FEED = np.array([[0.6, 0.3, 0.1]])


def divider(parts, kept):
    """Receivers that take fixed parts (C, n); `kept` is the one to keep."""

    def divide(charge):
        amounts = charge[:, :, None, :] * np.asarray(parts)
        unknown = np.full(charge.shape[:2], np.nan)
        keep = np.broadcast_to(np.arange(len(parts)) == kept, (len(charge), len(parts)))
        return Split(amounts, charge - amounts.sum(axis=2), keep, np.ones(len(charge)), unknown, unknown)

    return divide


@st.composite
def splits(draw):
    count, n = draw(st.integers(1, 5)), draw(st.integers(2, 4))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    parts = rng.dirichlet(np.full(count + 1, 0.7), n).T[:count]
    feed = rng.uniform(0.01, 2.0, (draw(st.integers(1, 4)), n))
    return parts, feed, draw(st.integers(0, count - 1)), draw(st.integers(0, n - 1))


@settings(max_examples=60, deadline=None)
@given(splits(), st.integers(1, 12), st.floats(0.2, 5.0), st.booleans())
def test_nothing_is_made_and_nothing_is_lost(task, batches, room, carry_residue):
    parts, feed, kept, component = task
    policies = list(range(len(parts)))
    limit = room * feed.sum(axis=1)
    made = simulate(feed, divider(parts, kept), batches, policies, component, limit=limit, carry_residue=carry_residue)
    assert made.imbalance() < 1e-9
    for name in ("fresh", "charge", "kept", "waste", "residue", "recycle"):
        assert np.all(getattr(made, name) >= 0.0)
    assert np.all(made.charge.sum(axis=-1) <= limit[None, :, None] * (1.0 + 1e-12))
    # batch by batch: what was ready and what came fresh is what became of it
    ready = np.concatenate([np.zeros_like(made.recycle[:, :, :1]), made.recycle[:, :, :-1]], axis=2)
    out = made.kept + made.waste + made.residue + made.recycle
    np.testing.assert_allclose(out, ready + made.fresh, rtol=0, atol=1e-9 * feed.sum())
    np.testing.assert_array_equal(made.cuts, np.minimum(made.cuts, np.array(policies)[:, None]))


def test_no_recycle_is_a_single_batch_every_time():
    made = simulate(FEED, divider([[0.5, 0.2, 0.1], [0.3, 0.6, 0.2]], 0), 7, [0], 0)
    np.testing.assert_allclose(made.kept[0, 0], np.tile([0.3, 0.06, 0.01], (7, 1)), rtol=1e-12)
    assert np.all(made.recycle == 0.0)
    assert settling(made.recycle[0]).last == 1


def test_an_impurity_without_a_way_out_grows_by_the_same_amount():
    """The third component goes into the carried cut whole: after k batches k times what one brings."""
    made = simulate(FEED, divider([[0.7, 0.0, 0.0], [0.2, 0.5, 1.0]], 0), 20, [1], 0)
    np.testing.assert_allclose(made.recycle[0, 0, :, 2], 0.1 * np.arange(1, 21), rtol=1e-12)
    share = leaving(made.fresh[0], made.kept[0] + made.waste[0] + made.residue[0])
    np.testing.assert_allclose(share[0], [1.0, 1.0, 0.0], rtol=0, atol=2e-4)
    np.testing.assert_array_equal(gathers(share), [False, False, True])
    assert settling(made.recycle[0]).last == 0
    assert settling(made.recycle[0], tolerance=0.2).last == 0


def test_a_recycle_that_swings_does_not_gather():
    """What is held back of one batch leaves with the next: over the later half, all that comes in goes out."""
    fresh = np.ones((1, 12, 1))
    out = 1.0 + 0.4 * (-1.0) ** np.arange(12)[None, :, None]
    np.testing.assert_allclose(leaving(fresh, out), 1.0, rtol=1e-12)
    assert not gathers(leaving(fresh, out)).any()


def test_everything_kept_back_gathers():
    made = simulate(FEED, divider([[0.5, 0.5, 0.5], [0.4, 0.4, 0.4]], 0), 5, [1], 0, carry_residue=True)
    assert np.all(made.residue == 0.0)
    np.testing.assert_allclose(made.recycle[0, 0, 0], 0.5 * FEED[0], rtol=1e-12)


def test_the_richest_cuts_are_carried_first_and_never_the_kept_one():
    parts = [[0.1, 0.3, 0.1], [0.5, 0.1, 0.1], [0.2, 0.1, 0.1], [0.1, 0.4, 0.5]]
    made = simulate(FEED, divider(parts, 1), 1, [1, 2, 3, 9], 0)
    rich = [0.6 * p[0] / (FEED[0] * p).sum() for p in parts]
    order = [k for k in np.argsort(-np.array(rich)) if k != 1]
    for g, count in enumerate((1, 2, 3, 3)):
        expected = sum(FEED[0] * np.array(parts[k]) for k in order[:count])
        np.testing.assert_allclose(made.recycle[g, 0, 0], expected, rtol=1e-12)
        assert made.cuts[g, 0] == count


def test_a_full_pot_takes_the_recycle_first_and_less_fresh_feed():
    made = simulate(FEED, divider([[0.1, 0.1, 0.1], [0.8, 0.8, 0.8]], 0), 6, [1], 0, limit=1.2)
    fresh, charge = made.fresh[0, 0].sum(axis=-1), made.charge[0, 0].sum(axis=-1)
    assert fresh[0] == pytest.approx(1.0)
    np.testing.assert_allclose(charge[1:], 1.2, rtol=1e-12)
    # 0.96 carried of every full charge leaves room for 0.24
    np.testing.assert_allclose(fresh[2:], 0.24, rtol=1e-12)


def test_recycle_that_outgrows_the_pot_stands_over():
    made = simulate(FEED, divider([[0.01] * 3, [0.99] * 3], 0), 8, [1], 0, limit=0.5)
    assert np.all(made.charge[0, 0].sum(axis=-1) <= 0.5 + 1e-12)
    assert made.imbalance() < 1e-12


def test_to_and_fro_is_settled_a_drift_is_not():
    swing = 1.0 + 0.003 * (-1.0) ** np.arange(12)
    assert settling(swing[None, :, None]).last == 2
    drift = 1.0 + 0.003 * np.arange(12)
    assert settling(drift[None, :, None]).last == 0
    both = settling(np.stack([swing, drift])[..., None])
    assert both.settled == 0.5
    assert both.last == 0


def test_remembering_divides_as_the_divider_does_and_asks_it_seldom():
    asked = []
    plain = divider([[0.6, 0.2, 0.1], [0.2, 0.5, 0.3]], 0)

    def counting(charge):
        asked.append(len(charge))
        return plain(charge)

    expected = simulate(FEED, plain, 60, [0, 1], 0)
    made = simulate(FEED, Remembering(counting), 60, [0, 1], 0)
    # a divider of fixed proportions is followed exactly, whichever charge it was asked about
    for name in ("kept", "waste", "residue", "recycle", "charge"):
        np.testing.assert_allclose(getattr(made, name), getattr(expected, name), rtol=1e-12, atol=1e-14)
    assert made.imbalance() < 1e-14
    assert asked[0] == 2
    assert set(asked[1:]) == {1}  # with nothing carried, every charge is the first
    assert len(asked) < 12


def test_remembering_asks_again_when_the_charge_has_moved():
    asked = []

    def counting(charge):
        asked.append(charge.copy())
        return divider([[0.5, 0.5, 0.5]], 0)(charge)

    once = Remembering(counting, alike=0.01)
    feed = FEED[None]
    once(feed)
    once(feed * 1.005)
    assert len(asked) == 1
    split = once(feed * 1.03)
    assert len(asked) == 2
    np.testing.assert_allclose(split.amounts.sum(axis=2) + split.rest, feed * 1.03, rtol=1e-12)


@pytest.mark.parametrize(
    "change, message",
    [
        ({"batches": 0}, "1 to 1000 batches"),
        ({"batches": 1001}, "1 to 1000 batches"),
        ({"carried": []}, "numbers of cuts"),
        ({"carried": [-1]}, "0 or more"),
        ({"fresh": [[-1.0, 2.0, 0.0]]}, "more than 0 kg"),
        ({"fresh": [[0.0, 0.0, 0.0]]}, "more than 0 kg"),
        ({"limit": 0.0}, "takes more than 0 kg"),
    ],
)
def test_bad_input(change, message):
    task = {"fresh": FEED, "batches": 3, "carried": [1]} | change
    with pytest.raises(InputError, match=message):
        simulate(
            task["fresh"], divider([[0.5] * 3], 0), task["batches"], task["carried"], 0, limit=task.get("limit", 9.0)
        )
