"""Making many cuts drawable: runs of one decision, bins, labels far enough apart. Arrays only, no loop over cuts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MAX_DRAWN = 600  # beyond this many cuts, neighbours are drawn together
BINS = 300


def bin_starts(count: int) -> Index:
    """First index of each bin of neighbouring cuts: (B,), every cut its own bin up to `MAX_DRAWN` cuts."""
    if count <= MAX_DRAWN:
        return np.arange(count, dtype=np.int64)
    return np.unique(np.linspace(0, count, BINS, endpoint=False).astype(np.int64))


def lowest(values: Array, starts: Index) -> Array:
    """(B,) lowest known value of each bin, NaN where none is known."""
    return np.asarray(np.fmin.reduceat(values, starts), dtype=np.float64)


def highest(values: Array, starts: Index) -> Array:
    """(B,) highest known value of each bin, NaN where none is known."""
    return np.asarray(np.fmax.reduceat(values, starts), dtype=np.float64)


def middle(values: Array, starts: Index) -> Array:
    """(B,) mean of the known values of each bin, NaN where none is known."""
    known = np.isfinite(values)
    total = np.add.reduceat(np.where(known, values, 0.0), starts)
    count = np.add.reduceat(known.astype(np.float64), starts)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def commonest(codes: Index, kinds: int, starts: Index) -> Index:
    """(B,) the code that occurs most often in each bin; codes run from 0 to ``kinds`` - 1."""
    counts = np.add.reduceat((codes[:, None] == np.arange(kinds)).astype(np.int64), starts, axis=0)
    return np.asarray(counts.argmax(axis=1), dtype=np.int64)


def runs(codes: Index) -> tuple[Index, Index]:
    """First index of each run of equal codes, and the index after its last: two arrays (R,)."""
    changes = np.flatnonzero(np.diff(codes)) + 1
    first = np.concatenate(([0], changes)).astype(np.int64)
    after = np.concatenate((changes, [codes.size])).astype(np.int64)
    return first, after


def spaced(places: Array, gap: float) -> Index:
    """Indices of a subset of the rising ``places`` (K,) whose neighbours are at least ``gap`` apart.

    The loop runs over the labels that fit, not over the cuts.
    """
    chosen: list[int] = []
    place = 0
    while place < places.size:
        chosen.append(place)
        place = int(np.searchsorted(places, places[place] + gap, side="left").item())
    return np.asarray(chosen, dtype=np.int64)
