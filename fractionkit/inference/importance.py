"""Samples of the shared errors: importance sampling that aims anew where it starves.

The first round is drawn from a multivariate t about the mode. Where too few of its samples carry weight (a posterior that
is bent, or skewed, as near an azeotrope) further rounds are aimed at what all rounds so far say: mean and covariance of
the samples with their weights tempered, so that enough of them count. Every sample, of whichever round, is weighted
against the mixture of all rounds' proposals (deterministic mixture weights: Veach and Guibas, SIGGRAPH 1995; adaptive
multiple importance sampling: Cornuet et al., Scand. J. Stat. 39 (2012) 798): a round aimed badly costs time, not truth.
Enough samples that count are not enough where the aim misses a limb of the posterior: the few that strayed there outweigh
the others, and more rounds are aimed as long as the tail of the weights is that heavy (`pareto`).
Pseudo-random numbers start from a fixed seed, so the same sheet gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import ConvergenceError
from fractionkit.inference.joint import Block, log_evidence, logsumexp
from fractionkit.inference.pareto import greatest_shape, tail_shape

Array = NDArray[np.float64]

SAMPLES = 512
# From so many nodes on fewer samples do: either many cuts fix the shared errors closely, or (three components) the
# nodes themselves are wide against what the shared errors add.
FEWER_SAMPLES = ((200_000, 192), (10_000, 256))
TAIL, HEAVIER_TAIL = 20.0, 6.0  # degrees of freedom of the proposals' t distributions: the first, and the later ones
ENOUGH = 0.25  # part of the samples that should count
ROUNDS = 8
TEMPERED = 0.2  # part of a round's samples that must count in the next aim
LEAST_EFFECTIVE = 40.0
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
    """A multivariate t distribution: centre (p,), Cholesky root (p, p) of its scale, degrees of freedom."""

    centre: Array
    root: Array
    freedom: float

    def draw(self, count: int, rng: np.random.Generator) -> Array:
        """(count, p), in pairs that mirror each other about the centre."""
        normal = rng.standard_normal((count // 2, len(self.centre)))
        half = normal * np.sqrt(self.freedom / rng.chisquare(self.freedom, count // 2))[:, None]
        return np.asarray(self.centre + np.concatenate([half, -half]) @ self.root.T)

    def log_density(self, theta: Array) -> Array:
        """(S, p) -> (S,), less the standard normal's constant."""
        size = len(self.centre)
        away = np.linalg.solve(self.root, (theta - self.centre).T)
        constant = math.lgamma(0.5 * (self.freedom + size)) - math.lgamma(0.5 * self.freedom)
        constant -= 0.5 * size * math.log(0.5 * self.freedom) + float(np.log(np.diag(self.root)).sum())
        return np.asarray(constant - 0.5 * (self.freedom + size) * np.log1p((away**2).sum(axis=0) / self.freedom))


def sample_shared(blocks: Sequence[Block], mode: Array, covariance: Array, count: int = SAMPLES) -> SharedPosterior:
    """Weighted samples of the shared errors, ``count`` of them or fewer.

    Raises
    ------
    ConvergenceError
        if fewer than `LEAST_EFFECTIVE` samples would carry the answer, or a few of them all of it.

    """
    rng = np.random.default_rng(20240229)
    aims = [Aim(mode, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64), TAIL)]
    theta, target = np.zeros((0, len(mode))), np.zeros(0)
    for round_ in range(ROUNDS):
        fresh = aims[-1].draw(count, rng)
        theta, target = np.concatenate([theta, fresh]), np.concatenate([target, log_evidence(blocks, fresh)])
        proposal = logsumexp(np.stack([aim.log_density(theta) for aim in aims]), axis=0) - math.log(len(aims))
        log_weight = target - proposal
        weights = normalised(log_weight)
        effective, tail = float(1.0 / (weights**2).sum()), tail_shape(log_weight)
        if effective > ENOUGH * count and tail <= greatest_shape(len(theta)):
            break
        if round_ == ROUNDS - 1:
            break
        aims.append(next_aim(theta, log_weight, TEMPERED * count))
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


def next_aim(theta: Array, log_weight: Array, least: float) -> Aim:
    """Mean and covariance of all samples, weights tempered so that ``least`` of them count."""
    weights = normalised(tempering(log_weight, least) * log_weight)
    centre = weights @ theta
    offset = (theta - centre) * np.sqrt(weights)[:, None]
    return Aim(centre, np.asarray(np.linalg.cholesky(offset.T @ offset), dtype=np.float64), HEAVIER_TAIL)


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
