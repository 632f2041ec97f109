"""The study: how often intervals hold the truth, how far estimates are off, and what lots declared good are worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.composition.posterior import RunPosterior, fit_evidence
from fractionkit.errors import ConvergenceError
from fractionkit.inference.summary import coverage_interval
from fractionkit.lots import choose, meets
from fractionkit.mixture import Mixture
from tests.proof import hand
from tests.proof.bound import least_sd
from tests.proof.more import ALONE, variants
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
LEAST_HALF = 1e-5  # half widths below are those of a component that is not there
PURITIES = (0.8, 0.9, 0.95, 0.98, 0.99)
# The first two are of cuts that have both readings.
REGIMES = (
    "both, interior",
    "both, near-pure",
    "head; densities of other cuts",
    "head; no density in the run",
    "density; no head in the run",
    "nothing",
)


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
    return scored(Mixture(names), benches(names, runs, seed, control=control), quality, seed)


def scored(mixture: Mixture, drawn: Sequence[Bench], quality: Quality, seed: int) -> Cuts:
    """Read, fit and score runs that were distilled."""
    rows, refused = [], 0
    for bench in drawn:
        evidence = readings(bench, quality, seed)
        try:
            rows.append(_score(mixture, bench, evidence, fit_evidence(mixture, evidence)))
        except ConvergenceError:
            refused += 1  # the estimator says that it cannot: told in the report, not hidden
    joined = {key: np.concatenate([row[key] for row in rows]) for key in rows[0]}
    return Cuts(tuple(mixture.names), quality.name, refused, **joined)


def merged(parts: Sequence[Cuts]) -> Cuts:
    """Runs of one mixture and quality that were drawn apart; their numbers are made different."""
    apart = 1 + max(int(cuts.run.max()) for cuts in parts)
    parts = [replace(cuts, run=cuts.run + i * apart) for i, cuts in enumerate(parts)]
    arrays = [f.name for f in fields(Cuts) if f.name not in ("names", "quality", "refused")]
    joined = {name: np.concatenate([getattr(cuts, name) for cuts in parts]) for name in arrays}
    return Cuts(parts[0].names, parts[0].quality, sum(cuts.refused for cuts in parts), **joined)


@dataclass(frozen=True)
class Further:
    """What one kind of further evidence makes of the cuts of some runs. K cuts, n components.

    kind : see `more`. hit95, hit80 : (K, n). narrower : (K, n) half width of the 95 % interval over that without the
    further evidence. of : (K,) whether the further reading is of this cut. run : (K,). refused : runs.
    """

    names: tuple[str, ...]
    quality: str
    kind: str
    refused: int
    hit95: NDArray[np.bool_]
    hit80: NDArray[np.bool_]
    narrower: Array
    of: NDArray[np.bool_]
    run: NDArray[np.intp]


def with_more(mixture: Mixture, drawn: Sequence[Bench], quality: Quality, seed: int) -> list[Further]:
    """Fit runs with each kind of further evidence; the first kind is none. Every cut has a density and head temperatures."""
    rows: dict[str, list[tuple[Array, ...]]] = {}
    refused: dict[str, int] = {}
    for found in drawn:
        every = np.ones(len(found.mass), dtype=bool)
        bench = replace(found, has_head=every, has_density=every)
        alone: Array | None = None
        for kind, (evidence, of) in variants(bench, quality, readings(bench, quality, seed), seed).items():
            try:
                fit = fit_evidence(mixture, evidence)
            except ConvergenceError:
                refused[kind] = refused.get(kind, 0) + 1
                continue
            half = 0.5 * (fit.high - fit.low)
            alone = half if kind == ALONE else alone
            if alone is not None:
                hits = _within(bench.w, fit.low, fit.high), _within(bench.w, *intervals(fit.draws, 0.8))
                narrower = half / np.maximum(alone, LEAST_HALF)
                rows.setdefault(kind, []).append((*hits, narrower, of, np.full(len(of), bench.number)))
    joined = {kind: [np.concatenate(part) for part in zip(*parts, strict=True)] for kind, parts in rows.items()}
    return [
        Further(tuple(mixture.names), quality.name, kind, refused.get(kind, 0), *parts)
        for kind, parts in joined.items()
    ]


def merged_further(parts: Sequence[Further]) -> Further:
    """As `merged`, of one mixture, quality and kind."""
    apart = 1 + max(int(part.run.max()) for part in parts)
    parts = [replace(part, run=part.run + i * apart) for i, part in enumerate(parts)]
    joined = [
        np.concatenate([getattr(part, name) for part in parts]) for name in ("hit95", "hit80", "narrower", "of", "run")
    ]
    first = parts[0]
    return Further(first.names, first.quality, first.kind, sum(part.refused for part in parts), *joined)


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
    head_only = 2 if bench.has_density.any() else 3
    one = np.where(bench.has_head, head_only, np.where(bench.has_density, 4, 5))
    return np.where(bench.has_head & bench.has_density, pure, one)


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
