"""Which foreign components are worth a fit, and where it starts.

With the shared errors taken as fresh in every cut, the readings of a cut ask only for the content there: their log
likelihood F_k(c), compositions summed out, is tabulated once for each component. Whatever still, amount and stretch of the
trace is tried then costs an interpolation, and each cut finds its own departure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.foreign import Foreign
from fractionkit.diagnosis.foreign_fit import FREEDOM, STRETCH, Place
from fractionkit.diagnosis.ground import Ground, thinned
from fractionkit.diagnosis.hypothesis import Hypothesis, Variant
from fractionkit.diagnosis.trace import AMOUNTS
from fractionkit.inference.channels import Normal, Scatter
from fractionkit.inference.joint import logsumexp

Array = NDArray[np.float64]

THIN = 4  # every fourth node will do here
LN_CONTENT = np.linspace(np.log(2e-5), np.log(0.9), 30)
STRETCHES = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
DEPARTURES = np.linspace(-2.5, 2.5, 11)
PROMISING, LEAST = 1.0, 3  # rough gain of any component, without which only so many are fitted
VARIANTS_EACH, WORTH = 2, 4.0  # most variants fitted, and how far behind the best one may be, in log likelihood


#: A hypothesis with numbers of its best variants and where a fit of each starts, the best first.
Chosen = tuple[Hypothesis, list[tuple[int, Place]]]


@dataclass(frozen=True)
class Start:
    """A variant's rough gain, its promise over none of the component, and where a fit of it begins."""

    gain: float
    promise: float
    place: Place


def choose(base: Ground, hypotheses: Sequence[Hypothesis], effects: Sequence[Foreign], keep: int) -> list[Chosen]:
    """The ``keep`` hypotheses worth a fit, the best first."""
    thin = thin_ground(base)
    scored = []
    for hypothesis, effect in zip(hypotheses, effects, strict=True):
        table = by_content(replace(effect, base=thin))
        starts = [rough(table, variant) for variant in hypothesis.variants]
        scored.append((max(s.gain for s in starts) + float(np.log(hypothesis.prior)), hypothesis, starts))
    scored.sort(key=lambda one: -one[0])
    if not any(s.promise > PROMISING for _, _, starts in scored for s in starts):
        keep = min(keep, LEAST)
    return [(hypothesis, _best(starts)) for _, hypothesis, starts in scored[:keep]]


def _best(starts: Sequence[Start]) -> list[tuple[int, Place]]:
    order = sorted(range(len(starts)), key=lambda k: -starts[k].gain)[:VARIANTS_EACH]
    return [(k, starts[k].place) for k in order if starts[k].gain > starts[order[0]].gain - WORTH]


def thin_ground(base: Ground) -> Ground:
    """The same readings on every `THIN`-th node."""
    part = slice(THIN // 2, None, THIN)
    channels = tuple(
        replace(
            c,
            scatter=_thin_scatter(c.scatter, part),
            prediction=c.prediction[:, part],
            jacobian=c.jacobian[:, part],
            bend=c.bend[:, part],
        )
        for c in base.block.channels
    )
    return replace(base, block=replace(base.block, nodes=thinned(base.block.nodes, THIN), channels=channels))


def _thin_scatter(scatter: Scatter, part: slice) -> Scatter:
    if isinstance(scatter, Normal) and scatter.precision.ndim == 2:
        return replace(scatter, precision=scatter.precision[:, part], log_amplitude=scatter.log_amplitude[:, part])
    return scatter


def by_content(effect: Foreign) -> Array:
    """(K, C + 1) log likelihood F of every vessel's readings by its content: none, and those of `LN_CONTENT`."""
    block = effect.base.block
    size = effect.base.evidence.size
    variances = []
    for channel in block.channels:
        step = np.gradient(channel.prediction, axis=1) if block.nodes.coordinates.shape[-1] == 1 else 0.0
        variances.append((channel.jacobian**2).sum(axis=-1) + np.square(step) / 4.0)
    found = np.empty((size, len(LN_CONTENT) + 1))
    for i, content in enumerate([0.0, *np.exp(LN_CONTENT)]):
        change = effect.at(np.full(size, content))
        total = block.nodes.log_volume
        for channel, variance in zip(block.channels, variances, strict=True):
            eta = channel.prediction + change[channel.kind] if channel.kind in change else channel.prediction
            total = total + channel.scatter.widened(eta, variance)
        found[:, i] = logsumexp(total, axis=1)
    return found


def rough(table: Array, variant: Variant) -> Start:
    """Best gain over amounts, stretches and departures, their priors included."""
    carried = variant.carried
    assert carried is not None
    logs = np.log(np.maximum(np.stack([carried.content(float(a)) for a in AMOUNTS]), 1e-12))
    lower = logs - logs.max(axis=1, keepdims=True)
    logs = logs[:, None] + STRETCH * STRETCHES[:, None] * lower[:, None]  # (A, S, K)
    value = _interpolated(table, logs[..., None] + FREEDOM * DEPARTURES) - 0.5 * DEPARTURES**2
    size = AMOUNTS / variant.scale
    gain = value.max(axis=-1).sum(axis=-1) - 0.5 * size[:, None] ** 2 - 0.5 * STRETCHES**2
    a, s = np.unravel_index(int(np.argmax(gain)), gain.shape)
    away = DEPARTURES[value[a, s].argmax(axis=-1)]
    most = float(gain[a, s])
    return Start(
        most + np.log(variant.weight), most - float(table[:, 0].sum()), Place(float(size[a]), float(STRETCHES[s]), away)
    )


def _interpolated(table: Array, ln_content: Array) -> Array:
    """F (A, S, K, Z) at contents; down to none below the least of `LN_CONTENT`."""
    position = (ln_content - LN_CONTENT[0]) / (LN_CONTENT[1] - LN_CONTENT[0]) + 1.0
    position = np.clip(position, 0.0, len(LN_CONTENT) - 0.001)
    cell = position.astype(np.intp)
    rows = np.arange(len(table))[:, None]
    share = position - cell
    return np.asarray((1.0 - share) * table[rows, cell] + share * table[rows, cell + 1])
