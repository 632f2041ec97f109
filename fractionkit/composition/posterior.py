"""Fitting a run: from evidence to the composition of every cut and what the run says of its instruments."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.blocks import Setting, slices
from fractionkit.composition.evidence import Evidence
from fractionkit.composition.tied import Joint, may_tie, tied
from fractionkit.inference import nodes as points
from fractionkit.inference.importance import FEWER_SAMPLES, SAMPLES, SharedPosterior, sample_shared
from fractionkit.inference.joint import MOST_POWER, POWER_BEYOND, Block, Piece, climb, find_mode, shares, spread_at
from fractionkit.inference.reference import refer
from fractionkit.inference.scatter_nodes import flat_points, gathered_points
from fractionkit.inference.summary import Marginals, draw_cells, pick_samples
from fractionkit.inference.tail import chi_square_tail
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

MOST_DRAWS, LEAST_DRAWS = 4096, 256
PRESENT = 0.003  # mass fraction below which a component is not taken to be fitted
NUMBERS_IN_DRAWS = 1 << 22
MOVED_FAR = 1.0  # squared distance between modes, in units of the covariance


@dataclass(frozen=True)
class RunPosterior:
    """What the readings of a run say.

    components, names : of the n components and the K cuts.
    mean, low, high : (K, n) mass fractions, posterior mean and shortest 95 % coverage interval.
    draws : (D, K, n) joint draws: within a draw all cuts share the same instrument errors.
    errors : (p,) names of the shared errors; shared : their posterior in units of their own standard deviation.
    misfit, freedom : least sum of squared normal deviates and its degrees of freedom; `consistency` turns them into a
        probability. cut_misfit, cut_freedom : (K,) each cut's share of them.
    residue, charge : (D, n) draws of either, None where the sheet has none. effective : least effective number of
        samples on the way. link_failed : whether order, course or balance were left out, see `tied.Joint`. theta : (D, p)
        shared errors of each draw.
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
    freedom: float
    cut_misfit: Array
    cut_freedom: Array
    residue: Array | None
    charge: Array | None
    effective: float
    link_failed: bool
    theta: Array

    @property
    def consistency(self) -> float:
        """Probability of readings at least as discordant as these, if model and stated uncertainties were right."""
        return chi_square_tail(round(self.freedom), self.misfit) if self.freedom > 0.0 else 1.0


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
    power = min(float(evidence.size), MOST_POWER.get(mixture.n, POWER_BEYOND))
    rough = lay(setting, np.zeros(size), np.eye(size), power)
    blocks, mode, covariance = _aimed(setting, *find_mode(rough, size), power)
    nodes = sum(block.nodes.log_volume.size for block in blocks)
    samples = next((fewer for limit, fewer in FEWER_SAMPLES if nodes >= limit), SAMPLES)
    shared = sample_shared(blocks, mode, covariance, samples)
    count = int(np.clip(NUMBERS_IN_DRAWS // max(evidence.size * mixture.n, 1), LEAST_DRAWS, MOST_DRAWS))
    blocks = [
        setting.block(block.cuts, replace(block.nodes, power=1.0)) for block in blocks
    ]  # no longer for the errors
    pieces: Iterable[Piece] = shares(blocks, shared.theta)
    if may_tie(evidence):
        pieces = list(pieces)  # looked at twice
    weights, draws, picked = summarise(blocks, pieces, shared, evidence.size, mixture.n, count)
    marginals = Marginals.joined([Marginals.of(block.nodes, w) for block, w in zip(blocks, weights, strict=True)])
    joint = Joint(marginals, draws, shared, shared.theta[picked], shared.effective)
    if may_tie(evidence):
        joint = tied(setting, blocks, list(pieces), weights, joint)
    deviates, freedom = misfits(blocks, mode, evidence.size)
    cuts = slice(0, evidence.cuts)
    return RunPosterior(
        tuple(mixture.names),
        evidence.names[cuts],
        joint.marginals.mean[cuts],
        joint.marginals.low[cuts],
        joint.marginals.high[cuts],
        joint.draws[:, cuts],
        setting.errors,
        joint.shared,
        float(mode @ mode + deviates.sum()),
        float(freedom.sum()),
        deviates[cuts],
        freedom[cuts],
        joint.draws[:, evidence.cuts] if evidence.residue else None,
        joint.draws[:, -1] if evidence.charge else None,
        joint.effective,
        joint.failed,
        joint.theta,
    )


def _aimed(setting: Setting, mode: Array, covariance: Array, power: float) -> tuple[list[Block], Array, Array]:
    """Nodes laid about the shared errors' mode with their prior, and the mode on them.

    The finer nodes and the prior move it; where they move it far, all is done once more from there.
    """
    for _ in range(2):
        blocks = [refer(block, mode) for block in lay(setting, mode, covariance, power)]
        shift, mode = -mode, climb(blocks, mode)
        shift += mode
        if float(shift @ np.linalg.solve(covariance, shift)) < MOVED_FAR:
            break
        covariance = spread_at(blocks, mode)
    return blocks, mode, covariance


def lay(setting: Setting, mode: Array, covariance: Array, power: float = 1.0) -> list[Block]:
    """Nodes and channels of every cut, laid where its posterior lies given the shared errors' mode and covariance.

    ``power``: to which their likelihood is raised, see `joint`.
    """
    n = setting.mixture.n
    on_cells = n in points.COARSE_CELLS
    coarse = points.coarse(n) if on_cells else flat_points(n)
    blocks = []
    for cuts in slices(setting.evidence.size):
        support = _support(setting.block(cuts, coarse), mode, covariance)
        fine = points.refine(support, n) if on_cells else gathered_points(coarse, support)
        blocks.append(setting.block(cuts, replace(fine, power=power)))
    return blocks


def _support(block: Block, mode: Array, covariance: Array) -> Array:
    """(C, G) log density of the coarse nodes with the shared errors taken as fresh in each cut, never too narrow."""
    total = np.repeat(block.nodes.log_volume, block.cuts.stop - block.cuts.start, axis=0)
    for channel in block.channels:
        eta = channel.at(mode)
        part = covariance[np.ix_(channel.errors, channel.errors)]
        moved = channel.slope(mode)
        variance = np.einsum("kgp,pq,kgq->kg", moved, part, moved, optimize=True)
        total = total + channel.scatter.widened(eta, variance + block.nodes.across_cell(eta))
    return total


def summarise(
    blocks: Sequence[Block], pieces: Iterable[Piece], shared: SharedPosterior, size: int, n: int, count: int
) -> tuple[list[Array], Array, NDArray[np.intp]]:
    """Node weights (C, G) of every block and ``count`` joint draws (count, size, n), in one pass over ``pieces``; with each
    draw its sample (count,) of the shared errors.
    """
    rng = np.random.default_rng(20240301)
    picked = pick_samples(shared.weights, count, rng)
    draws = np.empty((count, size, n))
    weight = [np.zeros(block.nodes.log_volume.shape) for block in blocks]
    place = {id(block): i for i, block in enumerate(blocks)}
    for block, part, share in pieces:
        weight[place[id(block)]] += share @ shared.weights[part]
        wanted = np.flatnonzero((picked >= part.start) & (picked < part.stop))
        if wanted.size:
            draws[wanted, block.cuts] = draw_cells(block.nodes, share, picked[wanted] - part.start, rng)
    return weight, draws, picked


def misfits(blocks: Sequence[Block], mode: Array, size: int) -> tuple[Array, Array]:
    """Least sum of squared deviates of each vessel (K,), shared errors at their mode, and degrees of freedom (K,).

    A vessel has as many degrees of freedom as readings, less one for each component beyond the first that it takes to
    come so close: fractions that stay at nothing there are not fitted.
    """
    least, freedom = np.zeros(size), np.zeros(size)
    for block in blocks:
        total = np.zeros(block.nodes.log_volume.shape)
        readings = np.zeros(len(total))
        for channel in block.channels:
            total = total + channel.scatter.misfit(channel.at(mode))
            readings = readings + channel.scatter.count()
        best = total.argmin(axis=1)
        rows = np.arange(len(total))
        least[block.cuts] = total[rows, best]
        fitted = (block.nodes.w[rows, best] > PRESENT).sum(axis=1) - 1
        freedom[block.cuts] = np.maximum(readings - fitted, 0.0)
    return least, freedom
