"""The study: how often intervals hold the truth, how far estimates are off, and what lots declared good are worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.composition.posterior import RunPosterior, fit_evidence
from fractionkit.composition.summary import coverage_interval
from fractionkit.errors import ConvergenceError
from fractionkit.lots import choose, meets
from fractionkit.mixture import Mixture
from tests.proof import hand
from tests.proof.bound import least_sd
from tests.proof.simulate import Bench, Quality, benches, readings

Array = NDArray[np.float64]

PAIRS = (
    ("chloroform", "carbon tetrachloride"),
    ("dichloromethane", "chloroform"),
    ("carbon tetrachloride", "trichloroethylene"),
    ("trichloroethylene", "tetrachloroethylene"),
    ("1,2-dichloroethane", "1,1,2-trichloroethane"),
    ("1,1,1-trichloroethane", "trichloroethylene"),
    ("chloroform", "ethanol"),
)
TERNARIES = (
    ("dichloromethane", "chloroform", "carbon tetrachloride"),
    ("carbon tetrachloride", "trichloroethylene", "tetrachloroethylene"),
    ("1,1,1-trichloroethane", "trichloroethylene", "tetrachloroethylene"),
)
NEAR_PURE = 0.95
CONFIDENCE = 0.95
PURITIES = (0.8, 0.9, 0.95, 0.98, 0.99)
REGIMES = ("both, interior", "both, near-pure", "head only", "density only", "nothing")


@dataclass(frozen=True)
class Cuts:
    """What came of the cuts of some runs of one mixture with one quality. K cuts, n components.

    hit95, hit80 : (K, n) whether the interval holds the truth. error : (K, n) estimate less truth. half : (K, n) half
    width of the 95 % interval. bound : (K, n) least standard deviation. regime : (K,) index into REGIMES.
    by_density, by_raoult : (K,) error of the hand methods, NaN where a reading lacks or there are three components.
    place, run, stages : (K,). claims : (L, 3) of every lot declared: target, stated
    probability, whether it truly meets.
    consistency : (runs,). refused : runs for which the estimator stated no interval.
    """

    names: tuple[str, ...]
    quality: str
    refused: int
    truth: Array
    hit95: NDArray[np.bool_]
    hit80: NDArray[np.bool_]
    error: Array
    half: Array
    bound: Array
    regime: NDArray[np.intp]
    by_density: Array
    by_raoult: Array
    place: Array
    run: NDArray[np.intp]
    stages: NDArray[np.intp]
    claims: Array
    consistency: Array

    @property
    def interior(self) -> NDArray[np.bool_]:
        """(K,) every component between 5 and 95 wt%, both kinds of reading taken."""
        return (self.regime == 0) & (self.truth.min(axis=1) > 1.0 - NEAR_PURE)


def study(names: Sequence[str], runs: int, quality: Quality, seed: int, *, control: bool = False) -> Cuts:
    """Simulate, read, fit and score ``runs`` runs of one mixture."""
    mixture = Mixture(names)
    rows, refused = [], 0
    for bench in benches(names, runs, seed, control=control):
        evidence = readings(bench, quality, seed)
        try:
            rows.append(_score(mixture, bench, evidence, fit_evidence(mixture, evidence)))
        except ConvergenceError:
            refused += 1  # the estimator says that it cannot: told in the report, not hidden
    joined = {key: np.concatenate([row[key] for row in rows]) for key in rows[0]}
    return Cuts(tuple(mixture.names), quality.name, refused, **joined)


def _score(mixture: Mixture, bench: Bench, evidence: Evidence, fit: RunPosterior) -> dict[str, Array]:
    low80, high80 = intervals(fit.draws, 0.8)
    size = len(bench.mass)
    pair = mixture.n == 2
    names = mixture.names
    return {
        "truth": bench.w,
        "hit95": _within(bench.w, fit.low, fit.high),
        "hit80": _within(bench.w, low80, high80),
        "error": fit.mean - bench.w,
        "half": 0.5 * (fit.high - fit.low),
        "bound": least_sd(mixture, evidence, bench.w),
        "regime": _regime(bench),
        "by_density": hand.by_density(names, evidence) - bench.w[:, 0] if pair else np.full(size, np.nan),
        "by_raoult": hand.by_raoult(names, evidence) - bench.w[:, 0] if pair else np.full(size, np.nan),
        "place": bench.place,
        "run": np.full(size, bench.number),
        "stages": np.full(size, bench.stages),
        "claims": _claims(bench, fit),
        "consistency": np.array([fit.consistency]),
    }


def _within(w: Array, low: Array, high: Array) -> NDArray[np.bool_]:
    return (low <= w + 1e-9) & (w <= high + 1e-9)


def intervals(draws: Array, coverage: float) -> tuple[Array, Array]:
    """Intervals of the kind that is stated, from draws (D, K, n), each (K, n)."""
    count, size, n = draws.shape
    values = draws.transpose(1, 2, 0).reshape(size * n, count)
    reach = np.stack([values.min(axis=1), values.max(axis=1)], axis=-1)
    low, high = coverage_interval(values, np.full(values.shape, 1.0 / count), reach, coverage)
    return low.reshape(size, n), high.reshape(size, n)


def _regime(bench: Bench) -> NDArray[np.intp]:
    pure = (bench.w.max(axis=1) > NEAR_PURE).astype(np.intp)
    return np.where(
        bench.has_head & bench.has_density, pure, np.where(bench.has_head, 2, np.where(bench.has_density, 3, 4))
    )


def _claims(bench: Bench, fit: RunPosterior) -> Array:
    """Every lot that could be declared to meet a target, one row a target."""
    found = []
    for component in range(bench.w.shape[1]):
        for purity in PURITIES:
            kept = choose(bench.mass, fit.draws[:, :, component], purity, CONFIDENCE)
            if kept.any():
                mass = bench.mass[kept]
                stated = meets((mass * (fit.draws[:, kept, component] - purity)).sum(axis=1))
                true = (mass * (bench.w[kept, component] - purity)).sum() >= 0.0
                found.append((purity, float(stated), float(true)))
    return np.array(found, dtype=np.float64).reshape(-1, 3)
