"""Whether importance samples can carry an answer: the shape of the generalized Pareto distribution of the largest weights.

Weights may have an effective number that looks sufficient while the proposal misses a part of the posterior: the few samples
that strayed there then carry a weight each that the next sample would have changed. The largest weights follow a generalized
Pareto distribution whose shape k tells how many moments the weights have: below about 0.7 averages are reliable at practical
sample sizes, above 1 not even the normalizing constant exists (Vehtari, Simpson, Gelman, Yao and Gabry, "Pareto smoothed
importance sampling", J. Mach. Learn. Res. 25 (2024) no. 72). The fit is that of Zhang and Stephens, Technometrics 51 (2009)
316: the posterior mean of b = -k/sigma on a profile likelihood, with Vehtari's weak prior that pulls few values towards 0.5.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PRIOR_B, PRIOR_COUNT, PRIOR_SHAPE = 3.0, 10.0, 0.5
LEAST_TAIL = 5
ALIKE = 1e-9  # spread of the logarithms below which weights have no tail


def fit_tail(excess: Array) -> tuple[float, float]:
    """Shape k and scale sigma of the generalized Pareto distribution of ``excess`` (M,) > 0, sorted rising."""
    count = len(excess)
    trials = 30 + int(np.sqrt(count))
    quartile = float(excess[int(count / 4 + 0.5) - 1])
    b = 1.0 / excess[-1] + (1.0 - np.sqrt(trials / (np.arange(trials) + 0.5))) / (PRIOR_B * quartile)
    shape = np.log1p(-b[:, None] * excess).mean(axis=1)
    profile = count * (np.log(-b / shape) - shape - 1.0)
    weight = np.exp(profile - profile.max())
    mean = float(weight @ b / weight.sum())
    k = float(np.log1p(-mean * excess).mean())
    sigma = -k / mean
    return (count * k + PRIOR_COUNT * PRIOR_SHAPE) / (count + PRIOR_COUNT), sigma


def tail_count(size: int) -> int:
    """How many of ``size`` weights are the tail."""
    return int(np.ceil(min(0.2 * size, 3.0 * np.sqrt(size))))


def greatest_shape(size: int) -> float:
    """Shape up to which averages over ``size`` samples are reliable (Vehtari et al., equation 13 and section 3.2)."""
    return min(1.0 - 1.0 / float(np.log10(size)), 0.7)


def tail_shape(log_weight: Array) -> float:
    """Shape k of the tail of weights, from their logarithms (S,); minus infinity where they are all alike."""
    ordered = np.sort(log_weight)
    cut = tail_count(len(ordered))
    ratio = np.exp(ordered[-cut - 1 :] - ordered[-1])
    excess = ratio[1:] - ratio[0]
    excess = excess[excess > 0.0]
    if len(excess) < LEAST_TAIL or ordered[-1] - ordered[-cut] < ALIKE:
        return -np.inf
    return fit_tail(excess)[0]
