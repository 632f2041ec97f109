"""From weighted nodes to what is stated: means, shortest coverage intervals, joint draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.nodes import Nodes

Array = NDArray[np.float64]

COVERAGE = 0.95
EDGE = 0.1  # of an interval's width


@dataclass(frozen=True)
class Marginals:
    """Posterior mean and shortest 95 % coverage interval of every component of some cuts, each (K, n)."""

    mean: Array
    low: Array
    high: Array

    @classmethod
    def of(cls, nodes: Nodes, weight: Array, coverage: float = COVERAGE) -> Marginals:
        """From node weights (K, G) that sum to one in each row."""
        mean = np.einsum("kg,kgn->kn", weight, nodes.w)
        bounds = [
            shortest_interval(nodes.w[..., i], weight, nodes.reach[:, i], coverage) for i in range(nodes.w.shape[-1])
        ]
        low = np.stack([bound[0] for bound in bounds], axis=-1)
        high = np.stack([bound[1] for bound in bounds], axis=-1)
        # An end that near to nothing, or to all, is taken to the edge: true fractions hug it, and the interval only grows.
        reach = EDGE * (high - low)
        low, high = np.where(low < reach, 0.0, low), np.where(1.0 - high < reach, 1.0, high)
        return cls(mean, np.minimum(low, mean), np.maximum(high, mean))

    @classmethod
    def joined(cls, parts: Sequence[Marginals]) -> Marginals:
        """Blocks of cuts put together."""
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in ("mean", "low", "high")))


def shortest_interval(values: Array, weight: Array, reach: Array, coverage: float = COVERAGE) -> tuple[Array, Array]:
    """Shortest interval holding ``coverage`` of each row's weight (JCGM 101:2008, 5.3.4 and 7.7.4).

    values, weight : (K, G); reach : (K, 2) least and greatest value possible. Returns (K,), (K,).
    """
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    mass = np.take_along_axis(weight, order, axis=1)
    rows = np.arange(len(values))
    # All rows' distribution functions on end, two apart, so that one interpolation serves every cut.
    curve = np.pad(np.cumsum(mass, axis=1) - 0.5 * mass, ((0, 0), (1, 1)), constant_values=((0, 0), (0.0, 1.0)))
    at = np.concatenate([reach[:, :1], ordered, reach[:, 1:]], axis=1)
    curve = np.minimum(curve, 1.0) + 2.0 * rows[:, None]
    tail = np.linspace(0.0, 1.0 - coverage, 101) + 2.0 * rows[:, None]
    lower = np.interp(tail, curve.ravel(), at.ravel())
    upper = np.interp(tail + coverage, curve.ravel(), at.ravel())
    best = np.argmin(upper - lower, axis=1)
    return np.clip(lower[rows, best], 0.0, 1.0), np.clip(upper[rows, best], 0.0, 1.0)


def pick_samples(weights: Array, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """``count`` indices in proportion to ``weights`` (S,), by systematic resampling: as even as can be."""
    edges = np.cumsum(weights)
    at = (np.arange(count) + rng.random()) / count
    picked: NDArray[np.intp] = np.minimum(np.searchsorted(edges / edges[-1], at), len(weights) - 1)
    return picked


def draw_cells(nodes: Nodes, share: Array, samples: NDArray[np.intp], rng: np.random.Generator) -> Array:
    """One composition a cut for each of the ``samples``: (D, C, n).

    share : (C, G, S) probability of each node given each sample of the shared errors.
    """
    cuts, size, count = share.shape
    cumulative = np.cumsum(share.transpose(0, 2, 1), axis=2)
    cumulative += np.arange(cuts * count).reshape(cuts, count, 1)  # rows on end: one sorted array, one search
    row = np.arange(cuts)[:, None] * count + samples
    at = rng.random(row.shape) * (1.0 - 1e-9) + row
    node = np.clip(np.searchsorted(cumulative.ravel(), at.ravel()).reshape(row.shape) - row * size, 0, size - 1)
    return nodes.inside(node, rng).transpose(1, 0, 2)
