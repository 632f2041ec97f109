"""Runs with one planted fault: is the true cause found, and is none found where there is none?

Truth by the proof's own simulator (another thermodynamic model and other constants than the estimator's). A fault is
planted in the readings, or a third component in the charge that the sheet does not name.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.diagnosis.diagnose import at_odds
from fractionkit.diagnosis.ground import Ground, ground
from fractionkit.diagnosis.group import margin
from fractionkit.diagnosis.predictive import consistency
from fractionkit.diagnosis.rank import Ranking, rank
from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs
from fractionkit.still import Charge, distil
from fractionkit.substances.activity_sources import Model, available
from tests.proof import coverage
from tests.proof.simulate import GOOD, PLAIN, Bench, Quality, bench_of, ends_of, readings
from tests.proof.truth import draw_control, draw_truth

Array = NDArray[np.float64]

PAIRS = coverage.PAIRS[:6]  # without the alcohol, which is one of the components planted
COMPONENTS = (
    "ethanol",
    "methanol",
    "acetone",
    "tetrachloroethylene",
    "1,1,2,2-tetrachloroethane",
    "dichloromethane",
    "toluene",
)
FAULTS = (
    "none",
    "sea-level pressure",
    "density temperature",
    "specific gravity as density",
    "density as specific gravity",
    "bubble",
    "low bulb",
    "third component",
)
WATER_20 = 0.998207  # Tanaka et al., Metrologia 38 (2001) 301
QUALITIES = (GOOD, PLAIN)
IDENTIFIABLE, APART = 5.0, 3.0  # log evidence in the best case: over nothing wrong, and over every other cause
EACH, SOUND, SEED = 5, 16, 20260  # runs of a pair for each fault, without one, and where the random numbers start
# Causes that shift all readings of one instrument alike are one kind: no head temperature or density tells a sea-level
# pressure from a thermometer's offset, or a wrong density temperature from a wrong volume or basis.
KINDS = {
    "nothing wrong": "nothing wrong",
    "sea-level pressure": "all temperatures",
    "thermometer offset": "all temperatures",
    "density temperature": "all densities",
    "density offset": "all densities",
    "specific gravity as density": "all densities",
    "density as specific gravity": "all densities",
    "bubble": "bubble",
    "low bulb": "low bulb",
}
REPORT = Path(__file__).with_name("faults_report.md")


@dataclass(frozen=True)
class Case:
    """A run as it was written down, and what is wrong with it; ``sound``: the readings without the fault."""

    names: tuple[str, ...]
    evidence: Evidence
    mass: Array
    fault: str
    cause: str
    size: float
    gravity: bool
    quality: Quality
    bench: Bench
    sound: Evidence


def runs(names: Sequence[str], feed: Array, seed: int, *, control: bool = False) -> list[Bench]:
    """Benches of charges with mass fractions ``feed`` (S, n), both kinds of reading taken of every cut.

    control : constants drawn from the estimator's own prior instead of other sources.
    """
    rng = np.random.default_rng([seed, *(sum(map(ord, name)) for name in names)])
    count = len(feed)
    truth = draw_control(names, count, rng) if control else draw_truth(names, count, rng)
    stages = np.where(rng.random(count) < 0.4, 1, rng.integers(2, 6, count))
    pressure = rng.uniform(94e3, 103e3, count)
    moles = Charge(feed, 1.0, "mass").moles(truth.molar_mass)
    whole = distil(truth, moles, stages.astype(float), rng.uniform(1.0, 6.0, count), pressure,
                   distilled=rng.uniform(0.8, 0.95, count), tolerance=1e-3)  # fmt: skip
    cuts = whole.cut_at_mass(np.stack([ends_of(whole, s, rng) for s in range(count)]))
    benches = [bench_of(truth, cuts, s, int(stages[s]), float(pressure[s]), feed[s], rng) for s in range(count)]
    every = [np.ones(len(bench.mass), dtype=bool) for bench in benches]
    return [replace(b, has_head=all_taken, has_density=all_taken) for b, all_taken in zip(benches, every, strict=True)]


def cases(names: Sequence[str], fault: str, count: int, seed: int, *, control: bool = False) -> list[Case]:
    """``count`` runs of a pair with a fault planted, good and plain instruments in turn; ``control`` as `runs`."""
    rng = np.random.default_rng([seed, FAULTS.index(fault), *(sum(map(ord, name)) for name in names)])
    first = rng.uniform(0.15, 0.85, count)
    feed = np.stack([first, 1.0 - first], axis=-1)
    if fault != "third component":
        benches = runs(names, feed, seed + 1000 * FAULTS.index(fault), control=control)
        return [_planted(b, names, fault, QUALITIES[i % 2], seed, rng) for i, b in enumerate(benches)]
    others = [name for name in COMPONENTS if name not in names and _has_truth((*names, name))]
    chosen = [others[int(i)] for i in rng.integers(len(others), size=count)]
    found = []
    for i, extra in enumerate(chosen):
        amount = rng.uniform(0.01, 0.08)
        whole = np.append((1.0 - amount) * feed[i], amount)[None]
        bench = runs([*names, extra], whole, seed + 7919 * (i + 1))[0]
        shown = readings(bench, QUALITIES[i % 2], seed)
        most = float(bench.w[:, 2].max())
        found.append(Case(tuple(names), shown, bench.mass, fault, extra, most, False, QUALITIES[i % 2], bench, shown))
    return found


def _has_truth(names: tuple[str, ...]) -> bool:
    """Whether some UNIFAC variant that the estimator does not use knows all groups; see `truth`."""
    used = {activity_pairs()[first, second].origin for first, second in combinations(names, 2)}
    models: tuple[Model, ...] = ("UNIFAC", "Dortmund")
    return any(m not in used and all(available(m, *pair) for pair in combinations(names, 2)) for m in models)


def _planted(
    bench: Bench, names: Sequence[str], fault: str, quality: Quality, seed: int, rng: np.random.Generator
) -> Case:
    sound = evidence = readings(bench, quality, seed)
    density, size, gravity = evidence.density, 0.0, False
    if fault == "sea-level pressure":
        size = float(rng.uniform(150.0, 1500.0))
        evidence = replace(evidence, pressure=evidence.pressure / (1.0 - 2.25577e-5 * size) ** 5.25588)
    elif fault == "density temperature":
        size = float(rng.choice([5.0, -5.0, rng.uniform(2.5, 10.0), -rng.uniform(2.5, 10.0)]))
        shift = _thermal(bench) * size
        evidence = replace(evidence, density=replace(density, value=density.value + shift))
    elif fault == "specific gravity as density":
        evidence = replace(evidence, density=replace(density, value=density.value / WATER_20))
    elif fault == "density as specific gravity":
        gravity = True
        evidence = replace(evidence, density=replace(density, value=density.value * WATER_20))
    elif fault == "bubble":
        size = -float(rng.uniform(4.0, 30.0))
        hit = np.arange(evidence.size) == rng.integers(evidence.size)
        evidence = replace(evidence, density=replace(density, value=density.value + size * hit))
    elif fault == "low bulb":
        size = float(rng.uniform(2.0, 10.0))
        hit = np.arange(evidence.size) == 0
        end = rng.uniform(0.3, 1.0)
        evidence = replace(
            evidence,
            head_start=replace(evidence.head_start, value=evidence.head_start.value - size * hit),
            head_end=replace(evidence.head_end, value=evidence.head_end.value - end * size * hit),
        )
    return Case(tuple(names), evidence, bench.mass, fault, fault, size, gravity, quality, bench, sound)


def _thermal(bench: Bench) -> Array:
    """d density/dT (K,) of each cut, volumes adding, kg/m3/K, from the catalogue's slopes."""
    mixture = Mixture(bench.names)
    T = bench.density_temperature
    return np.asarray(mixture.density(bench.w, T + 0.5) - mixture.density(bench.w, T - 0.5))


def best_case(case: Case) -> Evidence:
    """The same run read without scatter, in a world that is exactly the estimator's: nothing could tell it better."""
    bench, given, sound = case.bench, case.evidence, case.sound
    mixture = Mixture(bench.names)
    dew, _ = mixture.dew_point(mixture.mole_fractions(bench.w / bench.w.sum(axis=1, keepdims=True)), bench.pressure)
    rise = bench.head_end - bench.head_start
    density = mixture.density(bench.w / bench.w.sum(axis=1, keepdims=True), bench.density_temperature)
    true = {"head_start": dew - 0.5 * rise, "head_end": dew + 0.5 * rise, "density": density}
    moved = {}
    for name, value in true.items():
        shown, without = getattr(given, name), getattr(sound, name)
        moved[name] = replace(shown, value=value + shown.value - without.value)
    return replace(given, pressure=bench.pressure * given.pressure / sound.pressure, **moved)


@dataclass(frozen=True)
class Found:
    """What the diagnosis made of one run.

    order : causes, most probable first. tied : those that the readings give less than 20:1 against. alike : the class of the
    true cause by `best_case`: causes within `APART` of it there, itself among them; empty where it is not identifiable (less
    than `IDENTIFIABLE` over nothing wrong, or another one more than `APART` above it). kind_identifiable : the same of the
    kind of cause, see `KINDS`. best : log evidence of the true cause over nothing wrong in the best case.
    """

    case: Case
    order: tuple[str, ...]
    gains: tuple[float, ...]
    tied: tuple[str, ...]
    conflict: bool
    log_odds: float
    consistency: float
    alike: tuple[str, ...]
    kind_identifiable: bool
    best: float

    @property
    def strict(self) -> bool:
        """Whether the readings could tell the true cause from every other one."""
        return len(self.alike) == 1

    def within(self, first: int) -> bool:
        """Whether the true cause is among the first causes."""
        return self.case.cause in self.order[:first]

    def class_within(self, first: int) -> bool:
        """Whether one of the class of the true cause is among the first causes."""
        return any(cause in self.alike for cause in self.order[:first])

    @property
    def told(self) -> bool:
        """Whether the true cause is among those that are told as the likeliest."""
        return self.within(1) or self.case.cause in self.tied

    @property
    def kind_first(self) -> bool:
        """Whether the first cause is of the true kind."""
        return kind(self.order[0]) == kind(self.case.cause)


def examine(case: Case) -> Found:
    """Diagnose one run."""
    base, ranking, gains = _weighed(case, case.evidence)
    agreement = consistency(base)
    least = max(gains.values()) - margin(ranking.results)
    alike: tuple[str, ...] = ()
    own, kind_known = 0.0, False
    if case.fault != "none":
        _, _, ideal = _weighed(case, best_case(case))
        own = ideal.get(case.cause, -np.inf)
        if own > IDENTIFIABLE and max(ideal.values()) <= own + APART:
            alike = tuple(cause for cause, gain in ideal.items() if gain >= own - APART)
        own_kind = kind(case.cause)
        of_kind = max((gain for cause, gain in ideal.items() if kind(cause) == own_kind), default=-np.inf)
        of_others = max(gain for cause, gain in ideal.items() if kind(cause) != own_kind)
        kind_known = of_kind > IDENTIFIABLE and of_kind > of_others + APART
    return Found(
        case,
        tuple(gains),
        tuple(gains.values()),
        tuple(cause for cause, gain in gains.items() if gain > least),
        at_odds(ranking, agreement),
        ranking.against,
        agreement,
        alike,
        kind_known,
        own,
    )


def kind(cause: str) -> str:
    """Kind of a cause; what is no fault of an instrument is a component."""
    return KINDS.get(cause, "third component")


def _weighed(case: Case, evidence: Evidence) -> tuple[Ground, Ranking, dict[str, float]]:
    """The ranking, and the log evidence of each cause over "nothing wrong", most probable cause first."""
    base = ground(Mixture(case.names), evidence, case.mass)
    ranking = rank(base, gravity=case.gravity)
    gains: dict[str, float] = {}
    for result in ranking.results:
        gain = result.log_evidence - base.fit.log_evidence
        cause = result.hypothesis.cause
        gains[cause] = max(gains.get(cause, -np.inf), gain)
    return base, ranking, gains


def study(each: int, sound: int, seed: int, pairs: Sequence[tuple[str, str]] = PAIRS) -> list[Found]:
    """``each`` runs of every pair and fault, ``sound`` runs of every pair without one, and half as many of the control."""
    planned = [case for fault in FAULTS[1:] for pair in pairs for case in cases(pair, fault, each, seed)]
    planned += [case for pair in pairs for case in cases(pair, "none", sound, seed)]
    planned += [case for pair in pairs for case in cases(pair, "none", sound // 2, seed + 1, control=True)]
    with ProcessPoolExecutor() as pool:
        return list(pool.map(examine, planned, chunksize=2))


def main() -> None:
    """Full study, written beside this file."""
    from tests.proof.faults_text import report

    found = study(EACH, SOUND, SEED)
    REPORT.write_text(report(found), encoding="utf-8")


if __name__ == "__main__":
    main()
