"""Log evidence of an explanation of a run's readings: normal approximation about the mode of the shared errors.

log p(readings) = log p(readings, theta at the mode) + log det(covariance)/2, up to a constant of the readings' own
scatter, so that explanations of the same readings can be compared (Laplace's method; Kass & Raftery, J. Am. Stat.
Assoc. 90 (1995) 773). Compositions are summed out exactly on their nodes, as in `inference.joint`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.joint import Block, logsumexp

Array = NDArray[np.float64]
Change = Mapping[str, Array]  # kind of reading -> change of its prediction, broadcast to (K, G) or (K, G, q)

NEWTON_STEPS = 40
TRIED, PROMISES, FAR = 6, 5.0, 40.0  # steps, and log density, after which an explanation far behind is given up
NEAR = 0.02  # promised rise of the log density at which the mode is good enough for an evidence
LEAST_CURVATURE = 0.05
LONGEST_STEP = 1.5  # standard deviations of the prior
NEGLIGIBLE = 1e-9  # probability of a node


@dataclass(frozen=True)
class Fit:
    """Mode theta (p,) of the shared errors, their covariance (p, p) there, and the log evidence."""

    theta: Array
    covariance: Array
    log_evidence: float

    def sd(self, place: int) -> float:
        """Posterior standard deviation of one shared error."""
        return float(np.sqrt(self.covariance[place, place]))


def changed(block: Block, change: Change, columns: Change | None = None, count: int = 0, size: int = 0) -> Block:
    """The same readings under an explanation.

    change : shift of the predictions. columns : (K, G, count) change of the predictions for one standard deviation of
    each of ``count`` errors more, which are numbered from ``size``.
    """
    channels = []
    for channel in block.channels:
        shape = channel.prediction.shape
        if channel.kind in change:
            channel = replace(channel, prediction=channel.prediction + np.broadcast_to(change[channel.kind], shape))
        if columns is not None and channel.kind in columns:
            more = np.broadcast_to(columns[channel.kind], (*shape, count))
            errors = np.concatenate([channel.errors, np.arange(size, size + count)])
            channel = replace(channel, errors=errors, jacobian=np.concatenate([channel.jacobian, more], axis=-1))
        channels.append(channel)
    return replace(block, channels=tuple(channels))


def fit(
    block: Block, size: int, start: Array | None = None, *, floor: float = -np.inf, steps: int = NEWTON_STEPS
) -> Fit:
    """Mode and evidence for ``size`` shared errors, from ``start`` (zero): Newton's method with bounded, halved steps.

    floor : log evidence of a better explanation; what stays far below it is left where it is, its evidence too low.

    Readings at odds make a rugged posterior, so the step uses the absolute curvature along each of its axes. Where
    rounding lets it climb no further, the place reached is taken: the loss is less than `NEAR`.
    """
    theta = np.zeros(size) if start is None else start.copy()
    here, gain = expand(block, theta), np.inf
    for turn in range(steps):
        values, axes = np.linalg.eigh(-here.hessian)
        step = axes @ ((axes.T @ here.gradient) / np.maximum(np.abs(values), LEAST_CURVATURE))
        promise = float(here.gradient @ step)
        reach = min(PROMISES * promise, 2.0 * (steps - turn) * gain)
        hopeless = turn >= TRIED and here.value + reach < floor - FAR
        if promise < NEAR or hopeless:
            break
        length = min(1.0, LONGEST_STEP / max(float(np.abs(step).max()), 1e-9))
        least = 2e-3 * length
        while length > least:
            there = expand(block, theta + length * step)
            if there.value >= here.value + 1e-3 * length * promise:
                break
            length *= 0.4
        else:
            break
        theta, gain, here = theta + length * step, there.value - here.value, there
    values, axes = np.linalg.eigh(-here.hessian)
    values = np.maximum(values, 1.0)  # no reading widens what was known before
    return Fit(theta, (axes / values) @ axes.T, here.value - 0.5 * float(np.log(values).sum()))


@dataclass(frozen=True)
class Expansion:
    """Value, gradient (p,) and Hessian (p, p) of the log posterior of the shared errors."""

    value: float
    gradient: Array
    hessian: Array


def expand(block: Block, theta: Array) -> Expansion:
    """As `inference.joint.expand`, with the derivatives summed only over nodes that carry some probability."""
    size = len(theta)
    predictions = [channel.at(theta) for channel in block.channels]
    log_density = block.nodes.log_volume
    for channel, eta in zip(block.channels, predictions, strict=True):
        log_density = log_density + channel.scatter.log_likelihood(eta)
    log_z = logsumexp(log_density, axis=1)
    share = np.exp(log_density - log_z[:, None])
    row, node = np.nonzero(share > NEGLIGIBLE)
    weight = share[row, node]
    slope = np.zeros((len(row), size))
    hessian = np.eye(size)
    for channel, eta in zip(block.channels, predictions, strict=True):
        first, second = channel.scatter.derivatives(eta)
        jacobian = channel.slope(theta)[row, node]
        slope[:, channel.errors] += first[row, node][:, None] * jacobian
        bend = (np.maximum(-second[row, node], 0.0) * weight)[:, None] * jacobian
        hessian[np.ix_(channel.errors, channel.errors)] += bend.T @ jacobian
    weighted = slope * weight[:, None]
    mean = np.add.reduceat(weighted, np.searchsorted(row, np.arange(len(share))), axis=0)  # every cut has some node
    hessian += mean.T @ mean - weighted.T @ slope
    value = float(log_z.sum()) - 0.5 * float(theta @ theta)
    return Expansion(value, mean.sum(axis=0) - theta, -hessian)
