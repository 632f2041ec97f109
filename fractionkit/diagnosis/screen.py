"""Which explanations are worth a fit: a rough gain of each, with the shared errors taken as fresh in every cut.

Nothing is sought: for each size of a short list the readings' likelihood is summed over the nodes with the variance of
all shared errors added to the scatter. It overstates what the errors can absorb, for all explanations alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Hypothesis, Variant
from fractionkit.inference.joint import logsumexp

Array = NDArray[np.float64]

SIZES = np.array([0.05, 0.12, 0.25, 0.5, 0.9, 1.5, 2.5, 4.0])  # in prior standard deviations
VARIANTS_EACH, WORTH = 3, 12.0  # most variants fitted, and how far behind the best one may be, in log evidence
TWO_SIDED = np.array([-2.5, -1.5, -0.9, -0.4, 0.4, 0.9, 1.5, 2.5])


def rough(base: Ground, variants: Sequence[Variant]) -> tuple[Array, Array]:
    """Best rough log likelihood of each variant over a few sizes, prior of the size included, and that size."""
    variances = [(channel.jacobian**2).sum(axis=-1) for channel in base.block.channels]
    gains, sizes = np.empty(len(variants)), np.empty(len(variants))
    for i, variant in enumerate(variants):
        tried = np.zeros(1) if variant.scale == 0.0 else SIZES if variant.one_sided else TWO_SIDED
        values = [_value(base, variant, float(size), variances) - 0.5 * float(size) ** 2 for size in tried]
        best = int(np.argmax(values))
        gains[i], sizes[i] = values[best], tried[best]
    return gains, sizes


def _value(base: Ground, variant: Variant, size: float, variances: Sequence[Array]) -> float:
    change = variant.at(size * variant.scale)
    total = base.block.nodes.log_volume
    for channel, variance in zip(base.block.channels, variances, strict=True):
        eta = channel.prediction + change[channel.kind] if channel.kind in change else channel.prediction
        total = total + channel.scatter.widened(eta, variance)
    return float(logsumexp(total, axis=1).sum())


def choose(base: Ground, hypotheses: Sequence[Hypothesis], keep: int) -> list[tuple[Hypothesis, Mapping[int, float]]]:
    """The ``keep`` hypotheses worth a fit, each with its best variants (`VARIANTS_EACH`) and the sizes to start from."""
    variants = [variant for h in hypotheses for variant in h.variants]
    gains, sizes = rough(base, variants)
    gains = gains + np.log([v.weight * h.prior for h in hypotheses for v in h.variants])
    ends = np.cumsum([len(h.variants) for h in hypotheses])
    parts = [np.arange(end - len(h.variants), end) for h, end in zip(hypotheses, ends, strict=True)]
    order = np.argsort([-gains[part].max() for part in parts], kind="stable")[:keep]
    found: list[tuple[Hypothesis, Mapping[int, float]]] = []
    for number in order:
        part = parts[number]
        best = part[np.argsort(-gains[part], kind="stable")[:VARIANTS_EACH]]
        near = [k for k in best if gains[k] > gains[best[0]] - WORTH]
        found.append((hypotheses[number], {int(k - part[0]): float(sizes[k]) for k in near}))
    return found
