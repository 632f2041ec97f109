"""Log evidence of an explanation of a run's readings: normal approximation about the mode of the shared errors.

log p(readings) = log p(readings, theta at the mode) + log det(covariance)/2, up to a constant of the readings' own
scatter, so that explanations of the same readings can be compared (Laplace's method; Kass & Raftery, J. Am. Stat.
Assoc. 90 (1995) 773). Compositions are summed out exactly on their nodes, as in `composition.joint`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.joint import Block, Expansion, expand

Array = NDArray[np.float64]
Change = Mapping[str, Array]  # kind of reading -> change of its prediction, broadcast to (K, G) or (K, G, q)

NEWTON_STEPS = 40
NEAR = 1e-3  # promised rise of the log density at which the mode is good enough for an evidence
LEAST_CURVATURE = 0.05


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


def fit(block: Block, size: int, start: Array | None = None) -> Fit:
    """Mode and evidence for ``size`` shared errors; Newton's method with halved steps, as `joint.find_mode`.

    Where rounding or a kink of a table lets it climb no further, the place reached is taken: the loss is less than
    `NEAR`.
    """
    theta = np.zeros(size) if start is None else start.copy()
    here = expand([block], theta)
    for _ in range(NEWTON_STEPS):
        step, metric = _ascent(here)
        promise = float(here.gradient @ step)
        if promise < NEAR:
            break
        length = 1.0
        while length > 1e-3:
            there = expand([block], theta + length * step)
            if there.value >= here.value + 1e-4 * length * promise:
                break
            length *= 0.5
        else:
            break
        theta, here = theta + length * step, there
    _, metric = _ascent(here)
    covariance = np.linalg.inv(metric)
    return Fit(theta, covariance, here.value + 0.5 * float(np.linalg.slogdet(covariance)[1]))


def _ascent(here: Expansion) -> tuple[Array, Array]:
    exact = -here.hessian
    values = np.linalg.eigvalsh(exact)
    metric = exact if values[0] > LEAST_CURVATURE else np.eye(len(exact)) + here.fisher
    return np.linalg.solve(metric, here.gradient), metric
