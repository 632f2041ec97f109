"""Runs with one planted fault: is the true cause found, and is none found where there is none?

Truth by the proof's own simulator (another thermodynamic model and other constants than the estimator's). A fault is
planted in the readings, or a third component in the charge that the sheet does not name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.diagnosis.diagnose import at_odds
from fractionkit.diagnosis.group import TIE, TIE_SHARE
from fractionkit.diagnosis.ground import Ground, ground
from fractionkit.diagnosis.predictive import consistency
from fractionkit.diagnosis.rank import Ranking, rank
from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs
from fractionkit.still import Charge, distil
from fractionkit.substances.activity_sources import Model, available
from tests.proof.simulate import GOOD, PLAIN, Bench, Quality, _bench, _ends, readings
from tests.proof.truth import draw_control, draw_truth

Array = NDArray[np.float64]

PAIRS = (
    ("chloroform", "carbon tetrachloride"),
    ("dichloromethane", "chloroform"),
    ("carbon tetrachloride", "trichloroethylene"),
    ("trichloroethylene", "tetrachloroethylene"),
    ("1,2-dichloroethane", "1,1,2-trichloroethane"),
    ("1,1,1-trichloroethane", "trichloroethylene"),
)
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
    cuts = whole.cut_at_mass(np.stack([_ends(whole, s, rng) for s in range(count)]))
    found = []
    for s in range(count):
        taken = cuts.mass[s] > 1e-9
        one = [a[s, taken] for a in (cuts.mass, cuts.w, cuts.x, cuts.head_start, cuts.head_end)]
        bench = _bench(truth, s, int(stages[s]), float(pressure[s]), *one, rng)
        every = np.ones(int(taken.sum()), dtype=bool)
        found.append(replace(bench, has_head=every, has_density=every))
    return found


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

    place : of the true cause among the causes, most probable first, 0 the first, 99 not found; tied : whether it leads or
    the readings give less than 20:1 against it. identifiable : by `best_case`, see `IDENTIFIABLE`; kind_first,
    kind_identifiable : the same of the kind of cause, see `KINDS`.
    """

    case: Case
    place: int
    tied: bool
    conflict: bool
    log_odds: float
    consistency: float
    identifiable: bool
    kind_first: bool
    kind_identifiable: bool
    leading: tuple[str, ...]


def examine(case: Case) -> Found:
    """Diagnose one run."""
    base, ranking, gains = _weighed(case, case.evidence)
    agreement = consistency(base)
    order = list(gains)
    place = order.index(case.cause) if case.cause in order else 99
    best = max(gain for gain in gains.values())
    tied = gains.get(case.cause, -np.inf) > best - max(TIE, TIE_SHARE * best)
    identifiable = kind_identifiable = False
    kind = _kind(case.cause)
    if case.fault != "none":
        _, _, ideal = _weighed(case, best_case(case))
        own = ideal.get(case.cause, -np.inf)
        others = max(gain for cause, gain in ideal.items() if cause != case.cause)
        identifiable = own > IDENTIFIABLE and own > others + APART
        of_kind = max((gain for cause, gain in ideal.items() if _kind(cause) == kind), default=-np.inf)
        of_others = max(gain for cause, gain in ideal.items() if _kind(cause) != kind)
        kind_identifiable = of_kind > IDENTIFIABLE and of_kind > of_others + APART
    leading = tuple(f"{cause} {gains[cause]:.1f}" for cause in order[:3])
    conflict = at_odds(ranking, agreement)
    kind_first = _kind(order[0]) == kind
    return Found(
        case,
        place,
        tied,
        conflict,
        ranking.against,
        agreement,
        identifiable,
        kind_first,
        kind_identifiable,
        leading,
    )


def _kind(cause: str) -> str:
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


def report(found: Sequence[Found]) -> str:
    """Markdown of what was measured."""
    planted = [f for f in found if f.case.fault != "none"]
    sound = [f for f in found if f.case.fault == "none"]
    lines = [
        "# Planted faults",
        "",
        f"{len(planted)} runs of pairs with one planted fault and {len(sound)} without; truth from another thermodynamic "
        "model and other constants than the estimator's, good and plain instruments in turn. Regenerated by "
        "`python -m tests.proof.faults`.",
        "",
        "*Best case*: the same run read without scatter, in a world that is exactly the estimator's. A **cause** is "
        f'identifiable if there it gains more than {IDENTIFIABLE:g} in log evidence over "nothing wrong" and more than '
        f"{APART:g} (20:1) over every other cause; a component and its azeotropes are one cause. A **kind** of cause is "
        "identifiable by the same figures against every other kind; kinds are: all temperatures shifted (sea-level "
        "pressure, thermometer offset), all densities shifted (temperature, vessel, specific gravity), bubble, low bulb, "
        "third component. Few causes are identifiable in the strict sense, because within a kind no reading tells them "
        "apart; the second measure was added after the first had been seen to leave most runs out. *Tied*: first, or the "
        "readings give less than 20:1 (or 1 % of the log evidence gained) against it.",
        "",
        "| fault | runs | conflict raised | cause identifiable | cause first | first three | kind identifiable | kind first "
        "| cause first | cause in first three | cause first or tied |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for fault in (*FAULTS[1:], "all"):
        runs_of = [f for f in planted if fault in ("all", f.case.fault)]
        known = [f for f in runs_of if f.identifiable]
        kinds = [f for f in runs_of if f.kind_identifiable]
        lines.append(
            f"| {fault} | {len(runs_of)} | {_share(runs_of, lambda f: f.conflict)} "
            f"| {len(known)} | {_share(known, lambda f: f.place == 0)} | {_share(known, lambda f: f.place < 3)} "
            f"| {len(kinds)} | {_share(kinds, lambda f: f.kind_first)} | {_share(kinds, lambda f: f.place == 0)} "
            f"| {_share(kinds, lambda f: f.place < 3)} | {_share(kinds, lambda f: f.tied or f.place == 0)} |"
        )
    lines += ["", f"No fault: {_share(sound, lambda f: f.conflict)} of {len(sound)} runs raise a conflict.", ""]
    missed = [f for f in planted if f.kind_identifiable and f.place > 2]
    if missed:
        lines += [
            "Kind identifiable, cause not among the first three:",
            "",
            "| planted | size | pair | instruments | cuts | told instead (gain) |",
        ]
        lines.append("| --- | ---: | --- | --- | ---: | --- |")
        lines += [
            f"| {f.case.cause} | {f.case.size:.3g} | {' + '.join(f.case.names)} | {f.case.quality.name} "
            f"| {f.case.evidence.size} | {', '.join(f.leading)} |"
            for f in missed
        ]
        lines.append("")
    return "\n".join(lines)


def _share(found: Sequence[Found], holds: Callable[[Found], bool]) -> str:
    if not found:
        return "-"
    return f"{100.0 * sum(map(holds, found)) / len(found):.0f} %"


def main() -> None:
    """Full study, written beside this file."""
    found = study(EACH, SOUND, SEED)
    REPORT.write_text(report(found), encoding="utf-8")


if __name__ == "__main__":
    main()
