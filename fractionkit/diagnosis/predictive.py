"""Posterior predictive check: each reading against the others of its cut and the run's shared errors.

The prediction of a kind of reading comes from the composition as the cut's *other* readings give it, with the shared
errors at their joint posterior. A head temperature is compared by the middle of its two readings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import Elevated
from fractionkit.diagnosis.ground import Ground, node_shares
from fractionkit.diagnosis.laplace import fit
from fractionkit.diagnosis.model import ReadingCheck
from fractionkit.inference.channels import Normal, Range, Scatter
from fractionkit.inference.joint import Channel

Array = NDArray[np.float64]

OUTSTANDING = 0.05
ROUNDS = 3  # readings left out one after another
PLACE_SD = 0.12  # standard deviation of where between its two head temperatures a cut lies; see `channels.Range`


@dataclass(frozen=True)
class Predicted:
    """(K,) mean and standard deviation of what a reading should show, the reading's own scatter not included."""

    mean: Array
    sd: Array


def consistency(base: Ground) -> float:
    """Probability of readings at least as discordant: least squared deviates and shared errors against chi-square.

    As many degrees of freedom as readings less compositions; a head temperature that spans a range deviates less than a
    normal reading would, so the probability errs on the high side.
    """
    from scipy.special import chdtrc

    theta = base.fit.theta
    total = np.zeros(base.block.nodes.log_volume.shape)
    count = -base.evidence.size * (base.mixture.n - 1.0)
    for channel in base.block.channels:
        total = total + channel.scatter.misfit(channel.at(theta))
        count += float(np.sum(channel.scatter.count()))
    return float(chdtrc(max(count, 1.0), float(total.min(axis=1).sum()) + float(theta @ theta)))


def predicted(channel: Channel, share: Array, theta: Array, covariance: Array) -> Predicted:
    """Mean and spread of a prediction over the nodes and the shared errors."""
    eta = channel.at(theta)
    mean = (share * eta).sum(axis=1)
    part = covariance[np.ix_(channel.errors, channel.errors)]
    moved = np.einsum("kg,kgq->kq", share, channel.slope(theta))
    variance = (share * (eta - mean[:, None]) ** 2).sum(axis=1) + np.einsum("kq,qr,kr->k", moved, part, moved)
    return Predicted(mean, np.sqrt(variance))


def reading_checks(base: Ground) -> tuple[ReadingCheck, ...]:
    """Every density, head temperature, boiling-range reading and refractive index of the run, cut by cut.

    One wrong reading draws the shared errors after it, and sound ones seem to stand out. So the worst is left out and the
    others are looked at again: where that settles it, only those of its cut stand out.
    """
    found = checks(base)
    cuts, left = set[str](), found
    for _ in range(ROUNDS + 1):
        out = [check for check in left if check.stands_out]
        if not out:
            return tuple(replace(check, stands_out=check.stands_out and check.cut in cuts) for check in found)
        worst = min(out, key=lambda check: check.probability)
        cuts.add(worst.cut)
        base = _without(base, worst)
        left = checks(base)
    return found


def _without(base: Ground, check: ReadingCheck) -> Ground:
    """The run fitted with one reading left out."""
    row = base.evidence.names.index(check.cut)
    channels = tuple(
        replace(channel, scatter=_left_out(channel.scatter, row)) if channel.kind == check.kind else channel
        for channel in base.block.channels
    )
    block = replace(base.block, channels=channels)
    return replace(base, block=block, fit=fit(block, base.size))


def _left_out(scatter: Scatter, row: int) -> Scatter:
    def cleared(values: Array, value: float) -> Array:
        changed = values.copy()
        changed[row] = value
        return changed

    if isinstance(scatter, Normal):
        return replace(
            scatter, precision=cleared(scatter.precision, 0.0), log_amplitude=cleared(scatter.log_amplitude, 0.0)
        )
    assert isinstance(scatter, Range)
    ends = {"start": cleared(scatter.start, np.nan), "end": cleared(scatter.end, np.nan)}
    return replace(scatter, **ends, table=cleared(scatter.table, 0.0))


def checks(base: Ground) -> tuple[ReadingCheck, ...]:
    """Every reading against the others of its cut, with the shared errors as all readings have them."""
    from scipy.special import ndtr

    found: list[tuple[str, Array, Array, Array, Array]] = []
    for channel in base.block.channels:
        shown = _shown(channel)
        if shown is None:
            continue
        value, own = shown
        share = node_shares(base.block, base.fit.theta, but=channel.kind)
        eta = channel.at(base.fit.theta)
        spread = predicted(channel, share, base.fit.theta, base.fit.covariance)
        across = (share * (eta - spread.mean[:, None]) ** 2).sum(axis=1)
        rest = np.sqrt(np.maximum(spread.sd**2 - across, 0.0) + own**2)
        below = (share * ndtr((value[:, None] - eta) / rest[:, None])).sum(axis=1)
        probability = np.clip(2.0 * np.minimum(below, 1.0 - below), 0.0, 1.0)
        found.append((channel.kind, value, spread.mean, np.hypot(spread.sd, own), probability))
    total = sum(int(np.isfinite(value).sum()) for _, value, *_ in found)
    limit = OUTSTANDING / max(total, 1)
    return tuple(
        ReadingCheck(
            base.evidence.names[k],
            kind,
            float(value[k]),
            float(mean[k]),
            1.959964 * float(sd[k]),
            float(probability[k]),
            bool(probability[k] < limit),
        )
        for kind, value, mean, sd, probability in found
        for k in np.flatnonzero(np.isfinite(value))
    )


def _shown(channel: Channel) -> tuple[Array, Array] | None:
    """(K,) reading, NaN where not taken, and the standard deviation of its own scatter."""
    scatter = channel.scatter
    if isinstance(scatter, Elevated):
        return scatter.end, scatter.spread()
    if isinstance(scatter, Range):
        middle = 0.5 * (scatter.start + scatter.end)
        return middle, np.hypot(scatter.sd / np.sqrt(2.0), PLACE_SD * (scatter.end - scatter.start))
    if isinstance(scatter, Normal) and channel.kind != "stated composition":
        precision = scatter.precision.reshape(len(scatter.value), -1).max(axis=1)
        taken = precision > 0.0
        return np.where(taken, scatter.value, np.nan), 1.0 / np.sqrt(np.where(taken, precision, 1.0))
    return None
