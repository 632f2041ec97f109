"""Predictive check: each reading against all others of the run, itself left out.

The prediction of a reading comes from the composition as the *other* readings of its cut give it, with the shared errors as
all readings but this one give them: one Newton step from their joint mode, the cut's share of the curvature taken out and
that of its other readings put in. With the reading left in, errors that few readings feel would follow it, and nothing
would ever stand out. A head temperature is compared by the middle of its two readings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import Elevated
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.laplace import fit
from fractionkit.diagnosis.model import ReadingCheck
from fractionkit.inference.channels import Normal, Range, Scatter
from fractionkit.inference.joint import Block, Channel
from fractionkit.quantities import COVERAGE_95

Array = NDArray[np.float64]

OUTSTANDING = 0.05
ROUNDS = 3  # readings left out one after another


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
    """Every reading against the others of its cut, with the shared errors as all readings but this one have them."""
    from scipy.special import ndtr

    found: list[tuple[str, Array, Array, Array, Array]] = []
    theta = base.fit.theta
    whole = cut_terms(base.block, theta)
    for channel in base.block.channels:
        shown = _shown(channel)
        if shown is None:
            continue
        value, own = shown
        rest = replace(base.block, channels=tuple(c for c in base.block.channels if c.kind != channel.kind))
        step, covariance = _without_each(whole, cut_terms(rest, theta))
        others = cut_terms(rest, theta, step)
        eta = moved(channel, theta, step)
        mean = (others.share * eta).sum(axis=1)
        away = others.share * (eta - mean[:, None])
        # the shared errors move the prediction itself and, by the other readings, the composition
        felt = np.einsum("kg,kgp->kp", away, others.score)
        felt[:, channel.errors] += np.einsum("kg,kgq->kq", others.share, channel.slope(theta))
        blurred = np.einsum("kp,kpq,kq->k", felt, covariance, felt) + own**2
        deviate = (value[:, None] - eta) / np.sqrt(blurred)[:, None]
        tail = np.minimum(*((others.share * ndtr(side * deviate)).sum(axis=1) for side in (-1.0, 1.0)))
        sd = np.sqrt((away * (eta - mean[:, None])).sum(axis=1) + blurred)
        found.append((channel.kind, value, mean, sd, np.minimum(2.0 * tail, 1.0)))
    total = sum(int(np.isfinite(value).sum()) for _, value, *_ in found)
    limit = OUTSTANDING / max(total, 1)
    return tuple(
        ReadingCheck(
            base.evidence.names[k],
            kind,
            float(value[k]),
            float(mean[k]),
            COVERAGE_95 * float(sd[k]),
            float(probability[k]),
            bool(probability[k] < limit),
        )
        for kind, value, mean, sd, probability in found
        for k in np.flatnonzero(np.isfinite(value))
    )


@dataclass(frozen=True)
class CutTerms:
    """What each of K cuts adds to the log posterior of the p shared errors.

    share : (K, G) of its nodes; score : (K, G, p) slope of the log likelihood on each. gradient : (K, p), curvature :
    (K, p, p) of the logarithm of their sum, its sign changed.
    """

    share: Array
    score: Array
    gradient: Array
    curvature: Array


def cut_terms(block: Block, theta: Array, step: Array | None = None) -> CutTerms:
    """As `laplace.expand`, cut by cut; ``step`` (K, p): each cut's own shared errors less ``theta``."""
    size, nodes = block.cuts.stop - block.cuts.start, block.nodes.w.shape[1]
    log_density = np.broadcast_to(block.nodes.log_volume, (size, nodes))
    score, bend = np.zeros((size, nodes, len(theta))), []
    for channel in block.channels:
        eta = moved(channel, theta, step)
        log_density = log_density + channel.scatter.log_likelihood(eta)
        first, second = channel.scatter.derivatives(eta)
        slope = channel.slope(theta)
        score[..., channel.errors] += first[..., None] * slope
        bend.append((channel.errors, np.maximum(-second, 0.0), slope))
    share = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    share /= share.sum(axis=1, keepdims=True)
    gradient = np.einsum("kg,kgp->kp", share, score)
    curvature = gradient[:, :, None] * gradient[:, None, :]
    curvature -= np.swapaxes(share[..., None] * score, 1, 2) @ score
    for errors, second, slope in bend:
        curvature[:, errors[:, None], errors] += np.swapaxes((share * second)[..., None] * slope, 1, 2) @ slope
    return CutTerms(share, score, gradient, curvature)


def moved(channel: Channel, theta: Array, step: Array | None) -> Array:
    """Prediction (K, G) of a channel at ``theta`` (p,), and ``step`` (K, p) beyond it in each cut."""
    eta = channel.at(theta)
    if step is None or not len(channel.errors):
        return eta
    return np.asarray(eta + np.einsum("kgq,kq->kg", channel.slope(theta), step[:, channel.errors]))


def _without_each(whole: CutTerms, rest: CutTerms) -> tuple[Array, Array]:
    """Shared errors (K, p) less their mode, and their covariance (K, p, p), with one kind of reading left out of each cut.

    At the mode the gradient is zero, so that what is taken out is what is left of it.
    """
    total = np.eye(whole.gradient.shape[1]) + whole.curvature.sum(axis=0)
    values, axes = np.linalg.eigh(total - whole.curvature + rest.curvature)
    values = np.maximum(values, 1.0)  # no reading widens what was known before
    covariance = (axes / values[:, None, :]) @ np.swapaxes(axes, 1, 2)
    return np.einsum("kpq,kq->kp", covariance, rest.gradient - whole.gradient), covariance


def _shown(channel: Channel) -> tuple[Array, Array] | None:
    """(K,) reading, NaN where not taken, and the standard deviation of its own scatter."""
    scatter = channel.scatter
    if isinstance(scatter, Elevated):
        return scatter.end, scatter.spread()
    if isinstance(scatter, Range):
        middle = 0.5 * (scatter.start + scatter.end)
        return middle, np.hypot(scatter.sd / np.sqrt(2.0), scatter.place_sd() * (scatter.end - scatter.start))
    if isinstance(scatter, Normal) and channel.kind != "stated composition":
        precision = scatter.precision.reshape(len(scatter.value), -1).max(axis=1)
        taken = precision > 0.0
        return np.where(taken, scatter.value, np.nan), 1.0 / np.sqrt(np.where(taken, precision, 1.0))
    return None
