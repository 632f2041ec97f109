"""The still's own equation as evidence on what is in the cuts.

Every sample of the fitted still says what all cuts hold. Given a sample, the readings still tell how far each cut
strays from it (`rows.STRAY`, where receivers were really changed, errors of the instruments): that part is normal and
drawn in closed form. The draws take the place of those made cut by cut.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import CorrectedRun, RunPosterior
from fractionkit.errors import ConvergenceError, InputError
from fractionkit.inference.channels import Detected
from fractionkit.inference.summary import drawn_interval, pick_samples
from fractionkit.inference.tail import chi_square_tail
from fractionkit.mixture import Mixture
from fractionkit.sheets import Run
from fractionkit.stages.carried import with_carried
from fractionkit.stages.infer import Sampled, linear_errors
from fractionkit.stages.lay import Fitting, lay_out, reflux_of, stages_of
from fractionkit.stages.rows import Laid

Array = NDArray[np.float64]

DOUBTFUL = 0.1
"""Probability of a misfit as large below which the still is not used: the allowances of `rows` are generous, so runs
that the still explains lie far above."""

MOST_COMPONENTS = 2
"""Simulated runs with another model of the liquid as the truth: of two components 95 % intervals of tied cuts held 97 of
100, of three the intervals of some runs held only half (`python -m tests.stages.study --only-tie --any-number`)."""

LEAST_EFFECTIVE = 60.0
SHARED = 512


@dataclass(frozen=True)
class Tied:
    """A posterior tied by the still's equation, or as it was, with why.

    effective : effective number of runs through the still that carry it; 0 where it could not be used.
    """

    posterior: RunPosterior
    used: bool
    effective: float
    text: str


def tie(run: Run, mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, mass: Array) -> Tied:
    """Tie the cuts of a run by its still's equation, where the sheet states its stages.

    Where that cannot be, because a mass lacks, nothing the still does explains the readings, or too few runs through it
    carry the answer, the posterior comes back as it was, with the reason.
    """
    column = run.still
    assert column is not None
    if mixture.n > MOST_COMPONENTS:
        why = "with three and more components errors of the activities that no reading tells apart pull all cuts along"
        return _left_out(posterior, 0.0, why)
    evidence = corrected.evidence
    ranges = np.concatenate([evidence.range_start.value[: evidence.cuts], evidence.range_end.value[: evidence.cuts]])
    if np.isfinite(ranges).any():
        return _left_out(posterior, 0.0, "boiling ranges of the cuts cannot be weighed together with it")
    if not run.ordered:
        return _left_out(posterior, 0.0, "the sheet says that the reflux was changed midway or charge added")
    try:
        laid = lay_out(run, mixture, corrected, posterior, mass, stages_of(column.stages), reflux_of(column.reflux))
        sampled = laid.sampled()
    except InputError as error:
        return _left_out(posterior, 0.0, "it needs " + error.faults[0].expected)
    except ConvergenceError as error:
        return _left_out(posterior, 0.0, str(error))
    least = max(float(sampled.weights @ sampled.misfit) - sampled.v.shape[1], 0.0)
    freedom = max(laid.rows.count - mixture.n, 1)
    if chi_square_tail(freedom, least) < DOUBTFUL:
        return _left_out(posterior, sampled.effective, "it explains the readings too poorly to be relied on")
    if sampled.effective < LEAST_EFFECTIVE:
        few = f"only {sampled.effective:.0f} runs through the still carry it"
        return _left_out(posterior, sampled.effective, few)
    return _tied(laid, sampled, posterior)


def _left_out(posterior: RunPosterior, effective: float, why: str) -> Tied:
    return Tied(posterior, False, effective, f"the still's equation was left out: {why}")


def _tied(laid: Fitting, sampled: Sampled, posterior: RunPosterior) -> Tied:
    rng = np.random.default_rng(20240605)
    count = len(posterior.draws)
    picked = pick_samples(sampled.weights, count, rng)
    errors = _linear_errors(sampled.laid, picked, rng)
    w = sampled.laid.composition[picked] + np.einsum("dvnq,dq->dvn", sampled.laid.bends[picked], errors, optimize=True)
    w = np.maximum(w, 0.0)
    w /= w.sum(axis=-1, keepdims=True)
    w = with_carried(w, laid.space.scenarios(sampled.v).w[picked], rng)
    weight = _detected(laid, w)
    effective = sampled.effective * float(weight.sum() ** 2 / (weight**2).sum()) / count
    if effective < LEAST_EFFECTIVE:
        return _left_out(posterior, effective, "the qualitative tests contradict it")
    again = pick_samples(weight, count, rng)
    rng.shuffle(again)
    w, errors, v = w[again], errors[again], sampled.v[picked[again]]
    cuts = w[:, : laid.rows.cuts]
    mean, low, high = drawn_interval(cuts)
    theta = _shared(laid, posterior, v, errors, rng)
    some = theta[:SHARED]
    shared = replace(posterior.shared, theta=some, weights=np.full(len(some), 1.0 / len(some)))
    text = f"the cuts are tied by the still's own equation ({effective:.0f} effective runs through the still)"
    residue = None if posterior.residue is None else w[:, laid.rows.cuts]
    tied = replace(
        posterior, mean=mean, low=low, high=high, draws=cuts, theta=theta, shared=shared, residue=residue,
        effective=min(posterior.effective, effective),
    )  # fmt: skip
    return Tied(tied, True, effective, text)


def _linear_errors(laid: Laid, picked: NDArray[np.intp], rng: np.random.Generator) -> Array:
    """Draws (D, q) of the linear errors given the samples ``picked`` (D,) and their residuals."""
    used = np.unique(picked)
    mean, covariance = linear_errors(laid.take(used))
    root = np.linalg.cholesky(covariance)
    place = np.searchsorted(used, picked)
    normal = rng.standard_normal((len(picked), mean.shape[1]))
    found = np.empty_like(normal)
    for i in range(len(used)):  # a few hundred samples; one matrix for all draws of each
        rows = place == i
        found[rows] = mean[i] + normal[rows] @ root[i].T
    return found


def _detected(laid: Fitting, w: Array) -> Array:
    """Likelihood (D,) of the qualitative tests."""
    log = np.zeros(len(w))
    for test in laid.corrected.evidence.detections:
        sign = 1.0 if test.positive else -1.0
        log += Detected(np.array([test.limit]), np.array([sign])).log_likelihood(w[:, test.cut, test.component][None])[
            0
        ]
    return np.asarray(np.exp(log - log.max()))


def _shared(laid: Fitting, posterior: RunPosterior, v: Array, errors: Array, rng: np.random.Generator) -> Array:
    """Shared errors (D, p) in the posterior's order; what the still does not feel stays as before the run."""
    theta = rng.standard_normal((len(v), len(posterior.errors)))
    for place, name in enumerate(posterior.errors):
        if name in laid.space.names:
            theta[:, place] = v[:, laid.space.names.index(name)] * laid.space.factor(name)
        elif name in laid.rows.linear:
            theta[:, place] = errors[:, laid.rows.linear.index(name)]
    return theta
