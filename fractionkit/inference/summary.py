"""From weighted nodes to what is stated: means, coverage intervals, joint draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.nodes import Nodes

Array = NDArray[np.float64]

COVERAGE = 0.95
WIDE = 0.2  # an interval from which on nothing is done for the edges of the simplex
# An end so near to nothing, or to all, in widths of the interval, is taken to it: of narrow and of wide intervals.
EDGE_NARROW, EDGE_WIDE = 0.25, 0.1


@dataclass(frozen=True)
class Marginals:
    """Posterior mean and 95 % coverage interval of every component of some cuts, each (K, n)."""

    mean: Array
    low: Array
    high: Array

    @classmethod
    def of(cls, nodes: Nodes, weight: Array, coverage: float = COVERAGE) -> Marginals:
        """From node weights (K, G) that sum to one in each row."""
        mean = np.einsum("kg,kgn->kn", weight, nodes.w)
        bounds = [
            coverage_interval(nodes.w[..., i], weight, nodes.reach[:, i], coverage) for i in range(nodes.w.shape[-1])
        ]
        low = np.stack([bound[0] for bound in bounds], axis=-1)
        high = np.stack([bound[1] for bound in bounds], axis=-1)
        return cls(mean, np.minimum(low, mean), np.maximum(high, mean))

    @classmethod
    def joined(cls, parts: Sequence[Marginals]) -> Marginals:
        """Blocks of cuts put together."""
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in ("mean", "low", "high")))


def coverage_interval(values: Array, weight: Array, reach: Array, coverage: float = COVERAGE) -> tuple[Array, Array]:
    """Interval of mass fractions holding at least ``coverage`` of each row's weight.

    The shortest one, save at the edges of the simplex. There, a narrow shortest interval is one-sided and leaves the
    whole of 1 - coverage at its other end: right on the average over all true fractions, but 80 % intervals of one normal
    reading then miss true fractions two standard deviations off the edge, where distillations put them, 32 times in
    100. So an interval that reaches an edge leaves no more at its other end than a symmetric one would, half of
    1 - coverage; the wider it is the more, and from `WIDE` on all of it.

    values, weight : (K, G); reach : (K, 2) least and greatest value possible. Returns (K,), (K,).
    """
    quantile = _quantiles(values, weight, reach)
    low, high = _shortest(quantile, coverage)
    width = high - low
    narrow = np.maximum(1.0 - width / WIDE, 0.0)
    near = (EDGE_WIDE + (EDGE_NARROW - EDGE_WIDE) * narrow) * width
    tail = (1.0 - coverage) * (1.0 - 0.5 * narrow)[:, None]
    at_low, at_high = low < near, 1.0 - high < near
    found_low = np.where(at_high, np.minimum(low, quantile(tail)[:, 0]), low)
    found_high = np.where(at_low, np.maximum(high, quantile(1.0 - tail)[:, 0]), high)
    return np.where(at_low, 0.0, found_low), np.where(at_high, 1.0, found_high)


def shortest_interval(values: Array, weight: Array, reach: Array, coverage: float = COVERAGE) -> tuple[Array, Array]:
    """Shortest interval holding ``coverage`` of each row's weight (JCGM 101:2008, 5.3.4 and 7.7.4).

    values, weight : (K, G); reach : (K, 2) least and greatest value possible. Returns (K,), (K,).
    """
    return _shortest(_quantiles(values, weight, reach), coverage)


def _shortest(quantile: Callable[[Array], Array], coverage: float) -> tuple[Array, Array]:
    tail = np.linspace(0.0, 1.0 - coverage, 101)[None]
    lower, upper = quantile(tail), quantile(tail + coverage)
    best = np.argmin(upper - lower, axis=1)[:, None]
    low, high = (np.clip(np.take_along_axis(end, best, axis=1)[:, 0], 0.0, 1.0) for end in (lower, upper))
    return low, high


def _quantiles(values: Array, weight: Array, reach: Array) -> Callable[[Array], Array]:
    """Quantile function of every row: probabilities (K, q) or (1, q) -> values (K, q)."""
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    mass = np.take_along_axis(weight, order, axis=1)
    row = 2.0 * np.arange(len(values))[:, None]
    # All rows' distribution functions on end, two apart, so that one interpolation serves every cut.
    curve = np.pad(np.cumsum(mass, axis=1) - 0.5 * mass, ((0, 0), (1, 1)), constant_values=((0, 0), (0.0, 1.0)))
    curve = (np.minimum(curve, 1.0) + row).ravel()
    at = np.concatenate([reach[:, :1], ordered, reach[:, 1:]], axis=1).ravel()
    return lambda probability: np.asarray(np.interp(probability + row, curve, at))


def drawn_interval(draws: Array) -> tuple[Array, Array, Array]:
    """Mean and 95 % coverage interval of mass fractions from equally likely draws (D, ...), each (...)."""
    flat = draws.reshape(len(draws), -1).T
    reach = np.stack([flat.min(axis=1), flat.max(axis=1)], axis=-1)
    low, high = coverage_interval(flat, np.full(flat.shape, 1.0 / len(draws)), reach)
    mean = flat.mean(axis=1)
    ends = (mean, np.minimum(low, mean), np.maximum(high, mean))
    mean, low, high = (end.reshape(draws.shape[1:]) for end in ends)
    return mean, low, high


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
