"""Do the intervals of planted faults hold, and how often does a sound reading stand out?

``python -m tests.diagnosis.study [RUNS]`` writes ``report.md`` beside this file (minutes). Runs of the proof's simulator, whose
truth is not the estimator's model. Of sound runs: how often a reading is called improbable, and whether what is found of each
instrument holds its error. Of runs with one fault planted: whether the size that is told holds the planted one.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fractionkit.assessment.words import findings
from fractionkit.composition import Evidence, fit_evidence
from fractionkit.diagnosis.ground import ground
from fractionkit.diagnosis.hypothesis import Hypothesis, weigh
from fractionkit.diagnosis.instruments import hypotheses
from fractionkit.diagnosis.predictive import checks, reading_checks
from fractionkit.diagnosis.screen import choose
from fractionkit.diagnosis.words import interval
from fractionkit.errors import ConvergenceError
from fractionkit.mixture import Mixture
from tests.proof.faults import PAIRS, runs
from tests.proof.simulate import GOOD, PLAIN, Bench, Quality, readings, repeated

RUNS, SEED = 120, 9020
REPORT = Path(__file__).with_name("report.md")
LOW, ALTITUDE, WARMER = -0.9, 310.0, 3.0  # K, m, K: what is planted
FAULTS = {"thermometer offset": LOW, "sea-level pressure": ALTITUDE, "density temperature": WARMER}
LEVELS = (0.5, 0.2, 0.05, 0.01)


@dataclass(frozen=True)
class Sound:
    """A run without a fault. probability : of each reading; stands_out : how many are said to; held : finding -> whether
    its interval holds the instrument's true error.
    """

    quality: str
    probability: tuple[float, ...]
    stands_out: int
    held: dict[str, bool]


@dataclass(frozen=True)
class Planted:
    """A run with a fault of known size. gain : log evidence over nothing wrong; low, high : of the size that is told.
    finding : whether the finding on the thermometer holds its whole error, None where that is not the fault.
    """

    quality: str
    fault: str
    gain: float
    size: float
    low: float
    high: float
    finding: bool | None

    @property
    def held(self) -> bool:
        """Whether the interval holds the planted size."""
        return self.low <= FAULTS[self.fault] <= self.high


def drawn(pair: Sequence[str], count: int, seed: int, *, control: bool = False) -> list[tuple[Bench, Quality]]:
    """``count`` runs of a pair, good and plain instruments in turn; ``control``: constants from the estimator's own prior."""
    rng = np.random.default_rng([seed, *map(ord, pair[0])])
    share = rng.uniform(0.2, 0.8, count)
    feed = np.stack([share, 1.0 - share], axis=-1)
    return [(bench, (GOOD, PLAIN)[i % 2]) for i, bench in enumerate(runs(pair, feed, seed, control=control))]


def held(bench: Bench, quality: Quality, evidence: Evidence, seed: int, low: float = 0.0) -> dict[str, bool]:
    """Whether each finding holds its instrument's error; ``low``: K added to the thermometer's."""
    warm, dense = repeated(bench, quality, seed)
    truths = {"thermometer": warm + low, "density": dense, "pressure": bench.pressure - evidence.pressure}
    try:
        told = findings(evidence, fit_evidence(Mixture(bench.names), evidence))
    except ConvergenceError:
        return {}
    return {f.instrument: bool(f.after.low <= truths[f.instrument] <= f.after.high) for f in told}


def sound(bench: Bench, quality: Quality, seed: int) -> Sound:
    """A run without a fault, looked at."""
    evidence = readings(bench, quality, seed)
    base = ground(Mixture(bench.names), evidence, bench.mass)
    probability = tuple(check.probability for check in checks(base))
    out = sum(check.stands_out for check in reading_checks(base))
    return Sound(quality.name, probability, out, held(bench, quality, evidence, seed))


def with_fault(bench: Bench, evidence: Evidence, fault: str) -> Evidence:
    """The readings with one fault in them."""
    if fault == "sea-level pressure":  # international standard atmosphere, ISO 2533
        return replace(evidence, pressure=evidence.pressure / (1.0 - 2.25577e-5 * ALTITUDE) ** 5.25588)
    if fault == "density temperature":
        T, truth = bench.density_temperature, bench.truth.part(np.full(len(bench.mass), bench.number))
        moved = truth.density(bench.w, T + WARMER) - truth.density(bench.w, T)
        return replace(evidence, density=replace(evidence.density, value=evidence.density.value + moved))
    kinds = {name: getattr(evidence, name) for name in ("head_start", "head_end")}
    return replace(evidence, **{name: replace(kind, value=kind.value + LOW) for name, kind in kinds.items()})


def planted(bench: Bench, quality: Quality, fault: str, seed: int) -> Planted:
    """A run with a fault, and what is told of its size."""
    evidence = with_fault(bench, readings(bench, quality, seed), fault)
    base = ground(Mixture(bench.names), evidence, bench.mass)
    one: Hypothesis = next(h for h in hypotheses(base) if h.code == fault)
    if fault == "density temperature":  # the free size, not the slip of exactly 5 K
        one = replace(one, variants=tuple(replace(v, weight=1.0) for v in one.variants if v.scale > 0.0))
    ((_, chosen),) = choose(base, [one], 1)
    result = weigh(base, one, chosen)
    told = interval(result.best)
    assert told is not None
    finding = None
    if fault == "thermometer offset":
        finding = held(bench, quality, evidence, seed, LOW).get("thermometer")
    return Planted(quality.name, fault, result.log_evidence - base.fit.log_evidence, *told, finding)


def study(count: int, seed: int) -> tuple[list[Sound], list[Planted]]:
    """``count`` sound runs, and as many with each fault."""
    each = -(-count // len(PAIRS))
    first, second = [], []
    for pair in PAIRS:
        for bench, quality in drawn(pair, each, seed):
            first.append(sound(bench, quality, seed))
            second += [planted(bench, quality, fault, seed) for fault in FAULTS]
    return first, second


def report(first: Sequence[Sound], second: Sequence[Planted]) -> str:
    """Markdown of what was measured."""
    return "\n".join(
        [
            "# Diagnosis: false alarms, and intervals of what is found",
            "",
            f"{len(first)} runs of pairs without a fault and as many with each of three faults planted, good and plain "
            "instruments in turn, head temperatures and densities of every cut; truth from another thermodynamic model and "
            "other constants than the estimator's. Regenerated by `python -m tests.diagnosis.study`.",
            "",
            "## Readings of sound runs",
            "",
            "A reading is told with the probability of one at least as far from what all others lead one to expect, itself left "
            "out; it *stands out* below 5 % divided by the number of readings, so that at most 5 of 100 sound runs show one.",
            "",
            "| instruments | readings | "
            + " | ".join(f"below {100 * a:g} %" for a in LEVELS)
            + " | runs where one stands out |",
            "| --- |" + " ---: |" * (len(LEVELS) + 2),
            *[
                _alarms(quality, [s for s in first if quality in ("all", s.quality)])
                for quality in ("good", "plain", "all")
            ],
            "",
            "The rates lie below those stated, since the place of a cut between its two head temperatures is given more room "
            "than these simulated stills take.",
            "",
            "## What is found of each instrument",
            "",
            "Intervals (95 %) of the findings hold the error that the instrument truly had, drawn as its stated uncertainty "
            "says, in",
            "",
            "| instruments | thermometer | density | pressure |",
            "| --- | ---: | ---: | ---: |",
            *[
                _findings(quality, [s for s in first if quality in ("all", s.quality)])
                for quality in ("good", "plain", "all")
            ],
            "",
            "## Size of a planted fault",
            "",
            f"A thermometer {-LOW:g} K low beyond what is stated, a sea-level pressure at {ALTITUDE:g} m, densities {WARMER:g} K "
            "warmer than written. The interval of the explanation's size holds the planted one in",
            "",
            "| fault | runs | held | held where it shows (log evidence over 3) | middle size | middle half-width |",
            "| --- | ---: | ---: | ---: | ---: | ---: |",
            *[_sizes(fault, [p for p in second if p.fault == fault]) for fault in FAULTS],
            "",
            "A finding, unlike an explanation, believes the stated uncertainty of the instrument: of thermometers "
            f"{-LOW:g} K low beyond it, it holds the whole error in {_of([p for p in second if p.quality == 'plain'])} where "
            f"± 1 K was stated and in {_of([p for p in second if p.quality == 'good'])} where ± 0.2 K was; such a run is for the "
            "explanations to find.",
            "",
        ]
    )


def _alarms(quality: str, runs_of: Sequence[Sound]) -> str:
    chance = np.concatenate([s.probability for s in runs_of])
    rates = " | ".join(f"{100 * float((chance < a).mean()):.1f} %" for a in LEVELS)
    out = 100 * float(np.mean([s.stands_out > 0 for s in runs_of]))
    return f"| {quality} | {len(chance)} | {rates} | {out:.1f} % of {len(runs_of)} |"


def _findings(quality: str, runs_of: Sequence[Sound]) -> str:
    shares = [
        _share([s.held[name] for s in runs_of if name in s.held]) for name in ("thermometer", "density", "pressure")
    ]
    return f"| {quality} | {' | '.join(shares)} |"


def _sizes(fault: str, runs_of: Sequence[Planted]) -> str:
    half = float(np.median([0.5 * (p.high - p.low) for p in runs_of]))
    shown = [p.held for p in runs_of if p.gain > 3.0]
    middle = float(np.median([p.size for p in runs_of]))
    figures = f"{middle:.3g} | {float(f'{half:.2g}'):g}"
    return f"| {fault} | {len(runs_of)} | {_share([p.held for p in runs_of])} | {_share(shown)} | {figures} |"


def _of(runs_of: Sequence[Planted]) -> str:
    return _share([p.finding for p in runs_of if p.finding is not None])


def _share(held_in: Sequence[bool]) -> str:
    """A rate with its standard error, "95.8 ± 1.8 %"."""
    rate, count = float(np.mean(held_in)), len(held_in)
    return f"{100 * rate:.1f} ± {100 * np.sqrt(rate * (1 - rate) / count):.1f} % of {count}"


def main(count: int = RUNS) -> None:
    """Full study, written beside this file."""
    REPORT.write_text(report(*study(count, SEED)), encoding="utf-8")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
