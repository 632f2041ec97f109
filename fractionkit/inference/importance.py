"""Samples of the shared errors: importance sampling that aims anew where it starves.

The first round is drawn from a multivariate t about the mode. Where too few of its samples carry weight (a posterior that
is bent, or skewed, as near an azeotrope) further rounds are aimed at what all rounds so far say: mean and covariance of
the samples with their weights tempered, so that enough of them count. Every sample, of whichever round, is weighted
against the mixture of all rounds' proposals (deterministic mixture weights: Veach and Guibas, SIGGRAPH 1995; adaptive
multiple importance sampling: Cornuet et al., Scand. J. Stat. 39 (2012) 798): a round aimed badly costs time, not truth.
Enough samples that count are not enough where the aim misses a limb of the posterior: the few that strayed there outweigh
the others, and more rounds are aimed as long as the tail of the weights is that heavy (`pareto`).
A posterior that bends away from a straight aim shows neither, for it is not met: its gradient tells (`bent`), and then the
rounds are aimed in coordinates in which it is straight, until the samples spread no farther than the aim.
Pseudo-random numbers start from a fixed seed, so the same sheet gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import ConvergenceError
from fractionkit.inference.bent import BENT, Shear, straighten, unevenness
from fractionkit.inference.joint import FEW_CUTS, Block, gradients, log_evidence, logsumexp
from fractionkit.inference.pareto import greatest_shape, tail_shape

Array = NDArray[np.float64]

SAMPLES = 640
# From so many nodes on fewer samples do: either many cuts fix the shared errors closely, or (three components) the
# nodes themselves are wide against what the shared errors add.
FEWER_SAMPLES = ((200_000, 192), (10_000, 320))
TAIL, HEAVIER_TAIL = 20.0, 6.0  # degrees of freedom of the proposals' t distributions: the first, and the later ones
ENOUGH = 0.25  # part of the samples that should count
ROUNDS = 8
TEMPERED = 0.2  # part of a round's samples that must count in the next aim
LEAST_EFFECTIVE = 40.0
FARTHER = (
    1.5  # standard deviations of a bent aim that the samples may spread to: more, and they have not met all there is
)
HEAVIEST = 1.0  # shape of the weights' tail from which on not even their mean exists


@dataclass(frozen=True)
class SharedPosterior:
    """Weighted samples of the shared errors: theta (S, p), weights (S,) summing to one, mode and covariance there.

    effective : effective number of samples, 1/sum of squared weights. log_evidence : logarithm of the probability
    density of the readings, up to a constant that depends on the readings' own scatter only: to compare explanations by.
    tail : shape of the weights' tail, see `pareto`.
    """

    theta: Array
    weights: Array
    mode: Array
    covariance: Array
    effective: float
    log_evidence: float
    tail: float = -math.inf

    def mean(self) -> Array:
        """(p,)."""
        return self.weights @ self.theta

    def sd(self) -> Array:
        """(p,)."""
        return np.sqrt(self.weights @ (self.theta - self.mean()) ** 2)


@dataclass(frozen=True)
class Aim:
    """A multivariate t distribution: centre (p,), Cholesky root (p, p) of its scale, degrees of freedom.

    shear : coordinates in which it is one, None where these are the shared errors themselves.
    """

    centre: Array
    root: Array
    freedom: float
    shear: Shear | None = None

    def draw(self, count: int, rng: np.random.Generator) -> Array:
        """(count, p), in pairs that mirror each other about the centre."""
        normal = _evened(rng.standard_normal((count // 2, len(self.centre))))
        half = normal * np.sqrt(self.freedom / rng.chisquare(self.freedom, count // 2))[:, None]
        drawn = np.asarray(self.centre + np.concatenate([half, -half]) @ self.root.T)
        return drawn if self.shear is None else self.shear.bent(drawn)

    def log_density(self, theta: Array) -> Array:
        """(S, p) -> (S,), less the standard normal's constant."""
        size = len(self.centre)
        at = theta if self.shear is None else self.shear.straight(theta)
        away = np.linalg.solve(self.root, (at - self.centre).T)
        constant = math.lgamma(0.5 * (self.freedom + size)) - math.lgamma(0.5 * self.freedom)
        constant -= 0.5 * size * math.log(0.5 * self.freedom) + float(np.log(np.diag(self.root)).sum())
        constant -= 0.0 if self.shear is None else self.shear.log_volume
        return np.asarray(constant - 0.5 * (self.freedom + size) * np.log1p((away**2).sum(axis=0) / self.freedom))


def _evened(normal: Array) -> Array:
    """Standard normals (S, p) turned and stretched a little so that their mean square is that of a standard normal exactly.

    By chance alone 512 samples would spread 5 % too little or too much in some direction, and every interval with them.
    """
    if len(normal) < 2 * normal.shape[1] or not normal.size:
        return normal
    values, vectors = np.linalg.eigh(normal.T @ normal / len(normal))
    return np.asarray(normal @ (vectors / np.sqrt(values)) @ vectors.T)


def sample_shared(blocks: Sequence[Block], mode: Array, covariance: Array, count: int = SAMPLES) -> SharedPosterior:
    """Weighted samples of the shared errors, ``count`` of them or fewer.

    Raises
    ------
    ConvergenceError
        if fewer than `LEAST_EFFECTIVE` samples would carry the answer, or a few of them all of it.

    """
    rng = np.random.default_rng(20240229)
    aims = [Aim(mode, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64), TAIL)]
    fresh = aims[0].draw(count, rng)
    uneven, bent = _bend(blocks, aims[0], covariance, fresh)
    theta, target = np.zeros((0, len(mode))), np.zeros(0)
    for round_ in range(ROUNDS):
        theta, target = np.concatenate([theta, fresh]), np.concatenate([target, log_evidence(blocks, fresh)])
        proposal = logsumexp(np.stack([aim.log_density(theta) for aim in aims]), axis=0) - math.log(len(aims))
        log_weight = target - proposal
        weights = normalised(log_weight)
        effective, tail = float(1.0 / (weights**2).sum()), tail_shape(log_weight)
        enough = effective > ENOUGH * count and tail <= greatest_shape(len(theta))
        if round_ == ROUNDS - 1 or (enough and (not uneven or (round_ and settled(theta, weights, aims[-1])))):
            break
        if bent is not None and not round_:
            aims.append(bent)
        else:
            aims.append(next_aim(theta, log_weight, TEMPERED * count, aims[-1].shear))
        fresh = aims[-1].draw(count, rng)
    if effective < LEAST_EFFECTIVE:
        raise ConvergenceError(
            f"only {effective:.0f} of {len(theta)} samples carry the answer (at least {LEAST_EFFECTIVE:.0f} needed): "
            "the readings are too much at odds for an interval to be stated"
        )
    if tail >= HEAVIEST:
        raise ConvergenceError(
            f"a few of {len(theta)} samples outweigh all others (tail of the weights {tail:.2f}, below {HEAVIEST:g} needed): "
            "the readings are too much at odds for an interval to be stated"
        )
    evidence = float(logsumexp(log_weight, axis=0)) - math.log(len(theta))
    kept, weights = _thinned(weights, count, rng)
    return SharedPosterior(theta[kept], weights, mode, covariance, effective, evidence, tail)


def _bend(blocks: Sequence[Block], aim: Aim, covariance: Array, drawn: Array) -> tuple[bool, Aim | None]:
    """Whether the posterior is uneven about the first aim, and the bent aim if one is found; ``drawn`` (S, p) by the first."""

    def slope(theta: Array) -> Array:
        return gradients(blocks, theta)

    if not len(aim.centre) or sum(block.cuts.stop - block.cuts.start for block in blocks) > FEW_CUTS:
        return False, None  # nothing is left open
    if unevenness(slope, aim.centre, aim.root, drawn[: len(drawn) // 2] - aim.centre) < BENT:
        return False, None
    found = straighten(slope, aim.centre, covariance, np.random.default_rng(20240801))
    if found is None:
        return True, None
    shear, spread = found
    return True, Aim(np.zeros(len(spread)), np.diag(spread), HEAVIER_TAIL, shear)


def settled(theta: Array, weights: Array, aim: Aim) -> bool:
    """Whether the weighted samples (S, p) spread no farther than the aim does, in any direction."""
    at = theta if aim.shear is None else aim.shear.straight(theta)
    offset = (at - weights @ at) * np.sqrt(weights)[:, None]
    white = np.linalg.solve(aim.root, offset.T)
    return bool(np.linalg.eigvalsh(white @ white.T)[-1] < FARTHER**2)


def normalised(log_weight: Array) -> Array:
    """Weights (S,) that sum to one."""
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum())


def tempering(log_weight: Array, least: float) -> float:
    """Greatest power, at most 1, to which weights may be raised so that ``least`` of them count."""
    low, high = 0.0, 1.0
    for _ in range(20):
        power = 0.5 * (low + high)
        weights = normalised(power * log_weight)
        if 1.0 / (weights**2).sum() < least:
            high = power
        else:
            low = power
    return low


def next_aim(theta: Array, log_weight: Array, least: float, shear: Shear | None = None) -> Aim:
    """Mean and covariance of all samples, weights tempered so that ``least`` of them count."""
    at = theta if shear is None else shear.straight(theta)
    weights = normalised(tempering(log_weight, least) * log_weight)
    centre = weights @ at
    offset = (at - centre) * np.sqrt(weights)[:, None]
    return Aim(centre, np.asarray(np.linalg.cholesky(offset.T @ offset), dtype=np.float64), HEAVIER_TAIL, shear)


def _thinned(weights: Array, count: int, rng: np.random.Generator) -> tuple[NDArray[np.intp], Array]:
    """At most ``count`` of the samples, and their weights.

    Heavy ones keep their weight, of the light ones some are picked, evenly, to stand for all (the resampling of least
    variance: Fearnhead and Clifford, J. R. Stat. Soc. B 65 (2003) 887).
    """
    if len(weights) <= count:
        return np.arange(len(weights)), weights
    descending = np.sort(weights)[::-1]
    rest = descending.sum() - np.cumsum(descending)  # weight of those lighter than the k-th
    heavy = int(np.argmax(descending * (count - 1 - np.arange(len(weights))) <= rest))
    total = descending[heavy:].sum()
    threshold = total / (count - heavy)
    is_heavy = weights > threshold
    light = np.flatnonzero(~is_heavy)
    at = (np.arange(count - int(is_heavy.sum())) + rng.random()) * threshold
    picked = light[np.minimum(np.searchsorted(np.cumsum(weights[light]), at), len(light) - 1)]
    kept = np.concatenate([np.flatnonzero(is_heavy), picked])
    found = np.concatenate([weights[is_heavy], np.full(len(picked), threshold)])
    return kept, np.asarray(found / found.sum())
