"""Fitting a run: from evidence to the composition of every cut and what the run says of its instruments."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import nodes as points
from fractionkit.composition.blocks import Setting, slices
from fractionkit.composition.evidence import Evidence
from fractionkit.composition.joint import (
    FEWER_SAMPLES,
    SAMPLES,
    Block,
    SharedPosterior,
    conditionals,
    find_mode,
    sample_shared,
)
from fractionkit.composition.summary import Marginals, draw_cells, pick_samples
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

MOST_DRAWS, LEAST_DRAWS = 4096, 256
NUMBERS_IN_DRAWS = 1 << 22


@dataclass(frozen=True)
class RunPosterior:
    """What the readings of a run say.

    components, names : of the n components and the K cuts.
    mean, low, high : (K, n) mass fractions, posterior mean and shortest 95 % coverage interval.
    draws : (D, K, n) joint draws: within a draw all cuts share the same instrument errors.
    errors : (p,) names of the shared errors; shared : their posterior in units of their own standard deviation.
    misfit, readings_counted : least sum of squared normal deviates and how many readings, less compositions, it stands
        on; `consistency` turns them into a probability.
    """

    components: tuple[str, ...]
    names: tuple[str, ...]
    mean: Array
    low: Array
    high: Array
    draws: Array
    errors: tuple[str, ...]
    shared: SharedPosterior
    misfit: float
    readings_counted: float
    deviates: Array  # (K,) each cut's share of the misfit

    @property
    def consistency(self) -> float:
        """Probability of readings at least as discordant as these, if model and stated uncertainties were right."""
        from scipy.special import chdtrc

        return float(chdtrc(max(self.readings_counted, 1.0), self.misfit))


def fit_evidence(mixture: Mixture, evidence: Evidence) -> RunPosterior:
    """Joint posterior of all cuts' compositions and the shared errors.

    Three passes: the support of each cut with the shared errors at their prior; the mode of the shared errors on nodes
    laid there; nodes laid anew where the posterior is, and importance samples.

    Raises
    ------
    ConvergenceError
        if the readings are so much at odds that no interval can be stated.

    """
    setting = Setting.of(mixture, evidence)
    size = len(setting.errors)
    rough = lay(setting, np.zeros(size), np.eye(size))
    mode, covariance = find_mode(rough, size)
    blocks = lay(setting, mode, covariance)
    samples = next((count for cuts, count in FEWER_SAMPLES if evidence.size >= cuts), SAMPLES)
    shared = sample_shared(blocks, mode, covariance, samples)
    count = int(np.clip(NUMBERS_IN_DRAWS // max(evidence.size * mixture.n, 1), LEAST_DRAWS, MOST_DRAWS))
    marginals, draws = summarise(blocks, shared, evidence.size, mixture.n, count)
    deviates, counted = misfits(blocks, mode, evidence.size)
    return RunPosterior(
        tuple(mixture.names),
        evidence.names,
        marginals.mean,
        marginals.low,
        marginals.high,
        draws,
        setting.errors,
        shared,
        float(mode @ mode + deviates.sum()),
        float(counted - evidence.size * (mixture.n - 1)),
        deviates,
    )


def lay(setting: Setting, mode: Array, covariance: Array) -> list[Block]:
    """Nodes and channels of every cut, laid where its posterior lies given the shared errors' mode and covariance."""
    n = setting.mixture.n
    coarse = points.coarse(n)
    blocks = []
    for cuts in slices(setting.evidence.size):
        rough = setting.block(cuts, coarse)
        blocks.append(setting.block(cuts, points.refine(_support(rough, mode, covariance, n), n)))
    return blocks


def _support(block: Block, mode: Array, covariance: Array, n: int) -> Array:
    """(C, G) log density of the coarse nodes with the shared errors taken as fresh in each cut, never too narrow."""
    total = block.nodes.log_volume
    for channel in block.channels:
        eta = channel.at(mode)
        part = covariance[np.ix_(channel.errors, channel.errors)]
        variance = np.einsum("kgp,pq,kgq->kg", channel.jacobian, part, channel.jacobian, optimize=True)
        total = total + channel.scatter.widened(eta, variance + _across_cell(eta, n) ** 2)
    return np.broadcast_to(total, (block.channels[0].prediction.shape if block.channels else total.shape))


def _across_cell(eta: Array, n: int) -> Array:
    """How much a prediction changes across a coarse cell: what a likelihood must not be narrower than to be found."""
    grid = eta.reshape(len(eta), *points.COARSE_CELLS[n])
    changes = [np.gradient(grid, axis=axis) for axis in range(1, grid.ndim)]
    return np.sqrt(sum(change**2 for change in changes)).reshape(eta.shape)


def summarise(
    blocks: Sequence[Block], shared: SharedPosterior, size: int, n: int, count: int
) -> tuple[Marginals, Array]:
    """Marginals of every cut and ``count`` joint draws, in one pass over the samples of the shared errors."""
    rng = np.random.default_rng(20240301)
    picked = pick_samples(shared.weights, count, rng)
    draws = np.empty((count, size, n))
    weight = [np.zeros(block.nodes.log_volume.shape) for block in blocks]
    place = {id(block): i for i, block in enumerate(blocks)}
    for block, part, log_density in conditionals(blocks, shared.theta):
        share = np.exp(log_density - log_density.max(axis=1, keepdims=True))
        share /= share.sum(axis=1, keepdims=True)
        weight[place[id(block)]] += share @ shared.weights[part]
        wanted = np.flatnonzero((picked >= part.start) & (picked < part.stop))
        if wanted.size:
            draws[wanted, block.cuts] = draw_cells(block.nodes, share, picked[wanted] - part.start, rng)
    parts = [Marginals.of(block.nodes, w) for block, w in zip(blocks, weight, strict=True)]
    return Marginals.joined(parts), draws


def misfits(blocks: Sequence[Block], mode: Array, size: int) -> tuple[Array, float]:
    """Least sum of squared deviates of each cut (K,), with the shared errors at their mode, and the number of readings."""
    least, counted = np.zeros(size), 0.0
    for block in blocks:
        total = np.zeros(block.nodes.log_volume.shape)
        for channel in block.channels:
            total = total - 2.0 * channel.scatter.log_likelihood(channel.at(mode))
            counted += channel.scatter.count()
        least[block.cuts] = total.min(axis=1)
    return least, counted
