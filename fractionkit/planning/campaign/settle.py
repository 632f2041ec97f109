"""When the recycle has settled, and whether an impurity gathers in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TOLERANCE = 0.01
"""Part of the recycle's mass by which it may still change; common practice, no source."""

QUIET = 0.2
"""Part of the tolerance below which a change is taken for what the search of the cuts leaves open, not for a drift."""

LEAVES = 0.9
"""Part of what the later batches bring of a component that must leave in them; with less it still gathers."""


@dataclass(frozen=True)
class Settling:
    """Whether and when a recycle settles.

    batch : (S,) number of the first batch after which it has settled, 0 where it has not. settled : part of the
    scenarios that settle; last : the batch by which 95 % of them have, 0 where they do not. drift : (S,) what the
    recycle would still change by after the last batch, part of its mass.
    """

    batch: NDArray[np.int64]
    settled: float
    last: int
    drift: Array


def settling(recycle: Array, tolerance: float = TOLERANCE) -> Settling:
    """Find when recycles (S, B, n) kg after each batch have settled.

    Criterion: from that batch on, the recycle moves from batch to batch by at most ``tolerance`` of its mass, all
    components added up, and so does all that is still to come if its changes go on shrinking as they do: with the
    changes d_k of two batches following each other, |d_k| q / (1 - q), q = d_k.d_k-1 / d_k-1.d_k-1 (the rest of a
    geometric series; changes that only go to and fro have no rest). A recycle that grows by the same amount each time,
    q = 1, therefore does not count as settled unless that amount is below `QUIET` of the tolerance; then `leaving` tells.
    """
    mass = np.maximum(recycle.sum(axis=-1), 1e-300)
    moved = np.diff(recycle, axis=1, prepend=0.0)
    change = np.abs(moved).sum(axis=-1)
    before = np.concatenate([np.zeros_like(moved[:, :1]), moved[:, :-1]], axis=1)
    along, size = (moved * before).sum(axis=-1), (before * before).sum(axis=-1)
    ratio = np.clip(np.where(size > 0.0, along / np.where(size > 0.0, size, 1.0), 1.0), 0.0, 1.0 - 1e-3)
    to_come = change * ratio / (1.0 - ratio)
    nothing = recycle.sum(axis=-1) <= 1e-12
    good = (np.maximum(change, to_come) <= tolerance * mass) | (change <= QUIET * tolerance * mass) | nothing
    onward = np.flip(np.minimum.accumulate(np.flip(good, axis=1), axis=1), axis=1)
    batch = np.where(onward[:, -1], onward.argmax(axis=1) + 1, 0)
    done = np.sort(np.where(batch > 0, batch, recycle.shape[1] + 1))
    last = int(done[int(np.ceil(0.95 * len(done))) - 1])
    drift = np.where(nothing[:, -1], 0.0, np.maximum(change, to_come)[:, -1] / mass[:, -1])
    return Settling(batch, float((batch > 0).mean()), last if last <= recycle.shape[1] else 0, drift)


def leaving(fresh: Array, out: Array) -> Array:
    """Part (S, n) of what the later half of the batches brought of each component that left in them; NaN without any.

    fresh, out : (S, B, n) kg. One when nothing gathers, zero when all of it stays. Half of the batches, because a
    recycle may swing from batch to batch and yet keep to its bounds.
    """
    later = slice(fresh.shape[1] // 2, None)
    fed, left = fresh[:, later].sum(axis=1), out[:, later].sum(axis=1)
    return np.asarray(np.where(fed > 0.0, left / np.where(fed > 0.0, fed, 1.0), np.nan))


def gathers(share: Array) -> NDArray[np.bool_]:
    """Whether each component (n,) still gathers: in the median scenario less leaves than `LEAVES`."""
    known = np.where(np.isnan(share), 1.0, share)
    return np.asarray(np.median(known, axis=0) < LEAVES)
