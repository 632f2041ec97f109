"""Posterior of the number of stages and of everything else that is unknown of a run.

All unknowns v ~ N(0, 1) before the run (`space`). The mode is found by Gauss-Newton steps from several numbers of
stages, all difference quotients and all trial steps as scenarios of one distillation each time. Around it runs are
drawn, quadratic polynomials are fitted to what they give (`surrogate`), Markov chains walk on those, and where they end
the still itself is run again: those runs refine the fit, and once they follow it closely they are the answer, each
weighted with the ratio of the true density to the fitted one. Random numbers start from a fixed seed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import ConvergenceError
from fractionkit.stages.forward import Bench, Course, course
from fractionkit.stages.rows import Laid, Rows
from fractionkit.stages.space import Space
from fractionkit.stages.surrogate import Surrogate

Array = NDArray[np.float64]

SCANNED = (1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 5.5, 7.5, 10.0, 14.0, 20.0)
STARTS = 3
HEAT = (100.0, 25.0, 8.0, 3.0)
PASSES = 8
SETTLED = 0.05
"""Gain of the log density by a step, after which no further one is taken."""

TRIED = np.array([1.0, 0.45, 0.15, 0.04])
LONGEST_STEP = 1.5

FIRST, SAMPLES, WALKS, GOOD = 160, 256, 5, 0.25
"""Runs that the polynomials are fitted to at first and after a walk, and runs that make up the answer."""

FLAT, SPREAD = 8.0, 1.1
LEAST_EFFECTIVE = 25.0


@dataclass(frozen=True)
class Mode:
    """Where the posterior is highest: v (d,), its covariance there by Laplace's method, and the log density."""

    v: Array
    covariance: Array
    log_density: float


@dataclass(frozen=True)
class Sampled:
    """Weighted samples: v (S, d), weights (S,) that sum to one, the runs they make and how they fit.

    misfit : (S,) sum of squared deviates of the readings and of v.
    """

    v: Array
    weights: Array
    run: Course
    laid: Laid
    misfit: Array

    @property
    def effective(self) -> float:
        """Effective number of samples."""
        return float(1.0 / (self.weights**2).sum())


def covariance_of(laid: Laid) -> Array:
    """Covariance (S, M, M) of the readings about the prediction, linear errors integrated out."""
    found = laid.moves @ laid.moves.transpose(0, 2, 1)
    diagonal = np.arange(found.shape[1])
    found[:, diagonal, diagonal] += laid.variance
    return found


def log_likelihood(laid: Laid) -> tuple[Array, Array]:
    """Logarithm of the likelihood (S,) and sum of squared deviates (S,)."""
    root = np.linalg.cholesky(covariance_of(laid))
    white = np.linalg.solve(root, laid.residual[..., None])[..., 0]
    misfit = (white**2).sum(axis=1)
    log_det = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return -0.5 * misfit - log_det, misfit


def linear_errors(laid: Laid) -> tuple[Array, Array]:
    """Mean (S, q) and covariance (S, q, q) of the linear errors given every scenario and its residuals.

    With residual r = L e + noise of variances V: e ~ N(P^-1 L' V^-1 r, P^-1), P = 1 + L' V^-1 L.
    """
    weighted = laid.moves / laid.variance[:, None]
    covariance = np.linalg.inv(np.eye(laid.moves.shape[2]) + laid.moves.transpose(0, 2, 1) @ weighted)
    right = (weighted * laid.residual[..., None]).sum(axis=1)
    return np.asarray((covariance @ right[..., None])[..., 0]), np.asarray(covariance, dtype=np.float64)


class Inference:
    """The posterior of one run."""

    def __init__(self, space: Space, bench: Bench, rows: Rows) -> None:
        self.space, self.bench, self.rows = space, bench, rows

    def run(self, v: Array) -> tuple[Course, Laid]:
        """Scenarios through the still, and their readings."""
        made = course(self.space, self.bench, v)
        return made, self.rows.lay(made, v)

    def log_density(self, v: Array) -> Array:
        """Logarithm of prior times likelihood (S,)."""
        return np.asarray(log_likelihood(self.run(v)[1])[0] - 0.5 * (v**2).sum(axis=1))

    def _slopes(self, v: Array) -> tuple[Laid, Array]:
        """Readings at (G, d), and slopes (G, M, d) of their residuals by differences."""
        G, d = v.shape
        steps = np.concatenate([np.zeros((1, d)), np.diag(self.space.step)])
        _, laid = self.run((v[:, None] + steps).reshape(-1, d))
        residual = laid.residual.reshape(G, d + 1, -1)
        slopes = (residual[:, 1:] - residual[:, :1]) / self.space.step[:, None]
        every = slice(None, None, d + 1)
        at = Laid(laid.residual[every], laid.variance, laid.moves[every], laid.composition[every], laid.bends[every])
        return at, slopes.transpose(0, 2, 1)

    def starts(self) -> Array:
        """The most likely of some numbers of stages, everything else as before the run, (G, d)."""
        v = np.zeros((len(SCANNED), self.space.size))
        v[:, 0] = self.space.stages_at(np.array(SCANNED))
        v = v[np.abs(v[:, 0]) < 3.0]
        if len(v) < STARTS:  # stages stated closely
            v = np.zeros((STARTS, self.space.size))
            v[:, 0] = np.linspace(-1.0, 1.0, STARTS)
        order = np.argsort(-log_likelihood(self.run(v)[1])[0] / HEAT[0] + 0.5 * v[:, 0] ** 2, kind="stable")
        return v[order[:STARTS]]

    def mode(self) -> Mode:
        """Highest of the modes found.

        The readings weigh little at first (`HEAT`), or sharp fronts that are misplaced would be mended by absurd errors
        of the thermodynamic model; then more and more.
        """
        v = self.starts()
        d = v.shape[1]
        for heat in (*HEAT, *[1.0] * PASSES):
            at, slopes = self._slopes(v)
            here = log_likelihood(at)[0] / heat - 0.5 * (v**2).sum(axis=1)
            weighted = slopes.transpose(0, 2, 1) @ np.linalg.inv(covariance_of(at)) / heat
            covariance = np.linalg.inv(np.eye(d) + weighted @ slopes)
            gradient = -(weighted @ at.residual[..., None])[..., 0] - v
            step = (covariance @ gradient[..., None])[..., 0]
            step *= np.minimum(1.0, LONGEST_STEP / np.abs(step).max(axis=1, keepdims=True))
            many = v[:, None] + TRIED[:, None] * step[:, None]
            flat = many.reshape(-1, d)
            value = log_likelihood(self.run(flat)[1])[0] / heat - 0.5 * (flat**2).sum(axis=1)
            value = value.reshape(len(v), -1)
            best, gain = value.argmax(axis=1), value.max(axis=1) - here
            v = np.where((gain > 0.0)[:, None], many[np.arange(len(v)), best], v)
            here = np.maximum(value.max(axis=1), here)
            top = int(here.argmax())
            if heat == 1.0:
                if gain[top] < SETTLED:
                    break
                keep = (here > here[top] - 40.0) & ((gain > SETTLED) | (np.arange(len(v)) == top))
                v, here, covariance = v[keep], here[keep], covariance[keep]
        top = int(here.argmax())
        return Mode(v[top], covariance[top], float(here[top]))

    def sample(self, mode: Mode) -> Sampled:
        """Weighted samples of the posterior.

        Raises
        ------
        ConvergenceError
            if fewer than `LEAST_EFFECTIVE` samples carry the answer.
        """
        rng = np.random.default_rng(20240601)
        d = len(mode.v)
        v = _around(mode, rng, max(FIRST, round(2.2 * (d + 1) * (d + 2) / 2)))
        white = np.linalg.inv(np.linalg.cholesky(covariance_of(self.run(mode.v[None])[1])[0]))
        runs, found = _Runs.none(d), []
        proposed = np.zeros(len(v))
        for walk in range(WALKS + 1):
            run, laid = self.run(v)
            likelihood, misfit = log_likelihood(laid)
            log_weight = likelihood - 0.5 * (v**2).sum(axis=1) - proposed
            weights = np.exp(log_weight - log_weight.max())
            made = Sampled(v, weights / weights.sum(), run, laid, misfit + (v**2).sum(axis=1))
            close = walk > 0 and made.effective > GOOD * len(v)
            if walk > 0:
                found.append(made)
            if walk == WALKS or (close and len(v) == SAMPLES):
                break
            runs = runs.added(v, laid.residual @ white.T, likelihood)
            surrogate, near = runs.fitted(self.space)
            count = SAMPLES if close or walk == WALKS - 1 else FIRST
            start = runs.v[rng.choice(len(near), count, p=near / near.sum())]
            v = surrogate.walk(start + 1e-3 * rng.standard_normal(start.shape), rng)
            proposed = surrogate.log_density(v)
        return _pooled(found)


def _pooled(found: list[Sampled]) -> Sampled:
    """All walks that carry about as much as the best, each weighted by its effective number of samples."""
    effective = np.array([made.effective for made in found])
    if effective.max() < LEAST_EFFECTIVE:
        raise ConvergenceError(
            "no steady still was found that explains this run: its readings do not go by one number of stages. Look for a "
            "reflux or heating changed midway, charge added, a cut entered out of order, a wrong mass, or a component "
            f"nobody named ({effective.max():.0f} of {SAMPLES} trial runs carry the answer, {LEAST_EFFECTIVE:.0f} are needed)"
        )
    kept = [made for made, e in zip(found, effective, strict=True) if e > 0.4 * effective.max()]
    total = sum(made.effective for made in kept)
    return Sampled(
        np.concatenate([made.v for made in kept]),
        np.concatenate([made.weights * made.effective / total for made in kept]),
        Course.joined([made.run for made in kept]),
        Laid.joined([made.laid for made in kept]),
        np.concatenate([made.misfit for made in kept]),
    )


@dataclass(frozen=True)
class _Runs:
    """All runs so far: v (S, d), whitened residuals (S, M), log likelihoods (S,)."""

    v: Array
    whitened: Array
    log_likelihood: Array

    @classmethod
    def none(cls, d: int) -> _Runs:
        """No run yet."""
        return cls(np.empty((0, d)), np.empty((0, 0)), np.empty(0))

    def added(self, v: Array, whitened: Array, log_likelihood: Array) -> _Runs:
        """With more runs."""
        before = self.whitened if len(self.v) else np.empty((0, whitened.shape[1]))
        return _Runs(
            np.concatenate([self.v, v]),
            np.concatenate([before, whitened]),
            np.concatenate([self.log_likelihood, log_likelihood]),
        )

    def fitted(self, space: Space) -> tuple[Surrogate, Array]:
        """Polynomials through the runs, those far from the posterior counting less; and how near each is (S,)."""
        total = self.log_likelihood - 0.5 * (self.v**2).sum(axis=1)
        near = np.exp(np.maximum(total - total.max(), -60.0) / FLAT)
        return Surrogate.fit(space, self.v, self.whitened, self.log_likelihood, near + 1e-4), near


def _around(mode: Mode, rng: np.random.Generator, count: int) -> Array:
    """Points about the mode, wider than Laplace's normal, from which the polynomials are fitted.

    Stages and hold-up end at 1 and at 0, where the parameter runs away: some points go out there.
    """
    unit = rng.standard_normal((count, len(mode.v))) * SPREAD
    v = mode.v + unit @ np.linalg.cholesky(mode.covariance).T
    away = rng.random(count) < 0.4
    v[:, 1] = np.where(away, np.minimum(v[:, 1], 2.0 * rng.random(count) - 2.0), v[:, 1])
    return v
