"""Do the stated error rates hold? ``python -m tests.aliquots.study [SERIES]`` writes ``report.md`` beside this file (minutes).

Series of aliquots are simulated with the proof's constants (tests/proof/truth.py: other pure densities, thermal expansion and
excess volumes than the estimator's): first-order approaches of many rates, plateaus, and straight lines that move by exactly
the tolerance, which is the worst case. Good and plain instruments, 6 to 30 samples at uneven times, and a bench that warms
or cools by up to 4 K meanwhile. Each series is followed whole, and what is said is held against its truth.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots import Followed, follow
from fractionkit.aliquots.levelling import LEVEL, MOVING
from fractionkit.aliquots.model import Approach
from fractionkit.mixture import Mixture
from fractionkit.sheets.aliquots import AliquotSeries, load_aliquots
from tests.proof.truth import draw_truth

Array = NDArray[np.float64]
Course = Literal["approach", "level", "at the tolerance"]

SERIES, SEED = 1000, 611
REPORT = Path(__file__).with_name("report.md")
DEMO = Path(__file__).parents[2] / "data" / "demo_aliquots"
PAIRS = (
    ("dichloromethane", "tetrachloroethylene"),
    ("chloroform", "carbon tetrachloride"),
    ("dichloromethane", "chloroform"),
    ("trichloroethylene", "tetrachloroethylene"),
)
COURSES: tuple[Course, ...] = ("approach", "approach", "approach", "level", "at the tolerance")
MINUTE = 60.0
INTERVALS = 3.0  # spacings


@dataclass(frozen=True)
class Instruments:
    """Standard deviations, kg/m3 and K: alike in all readings and fresh in each; last digit of the density, kg/m3."""

    name: str
    bias: float
    repeat: float
    warm: float
    flutter: float
    digit: float


GOOD = Instruments("good", 0.2, 0.2, 0.1, 0.05, 0.1)
PLAIN = Instruments("plain", 1.0, 0.8, 0.3, 0.15, 1.0)


@dataclass(frozen=True)
class Made:
    """A series as it was written down and its truth. w, remaining : (K,) mass fraction followed at each sample, and its
    change in the interval after it. constant : s, NaN where nothing approaches.
    """

    series: AliquotSeries
    course: Course
    instruments: Instruments
    w: Array
    remaining: Array
    constant: float


def made(
    pair: Sequence[str], course: Course, instruments: Instruments, rng: np.random.Generator, demo: AliquotSeries
) -> Made:
    """One series."""
    count = int(rng.integers(6, 31))
    spacing = rng.uniform(4.0, 20.0) * MINUTE
    time = spacing * (np.arange(count) + np.append(0.0, rng.uniform(-0.3, 0.3, count - 1)))
    interval = INTERVALS * spacing
    mixture, truth = Mixture(pair), draw_truth(pair, 1, rng).part(np.zeros(count, dtype=np.intp))
    slope = abs(float(np.diff(mixture.density(np.array([[0.25, 0.75], [0.35, 0.65]]), 293.15))[0])) / 0.1
    fresh = np.hypot(np.hypot(instruments.repeat, instruments.digit / np.sqrt(12.0)), 1.9 * instruments.flutter)
    tolerance = float(rng.uniform(1.0, 6.0) * fresh / slope)
    constant, plateau = float("nan"), rng.uniform(0.02, 0.4)

    def at(t: Array) -> Array:
        if course == "approach":
            return plateau + amplitude * np.exp(-t / constant)
        return np.full(len(t), plateau) if course == "level" else 0.6 - tolerance * t / interval

    if course == "approach":
        constant = float(np.exp(rng.uniform(np.log(spacing), np.log(1.5 * time[-1]))))
        amplitude = max(rng.uniform(0.05, 0.4), 2.0 * tolerance)
    w = np.clip(at(time), 0.0, 1.0)
    true = 293.15 + rng.uniform(-4.0, 4.0) * time / time[-1] + 0.3 * np.sin(time / 3000.0)
    shown = np.round(
        true + instruments.warm * rng.standard_normal() + instruments.flutter * rng.standard_normal(count), 2
    )
    density = truth.density(np.stack([w, 1.0 - w], axis=-1), true) + instruments.bias * rng.standard_normal()
    density = instruments.digit * np.round(
        (density + instruments.repeat * rng.standard_normal(count)) / instruments.digit
    )
    entry = replace(
        demo.density, method=None, bias=instruments.bias, thermometer_bias=instruments.warm,
        repeat=float(np.hypot(instruments.repeat, instruments.digit / np.sqrt(12.0))), thermometer_repeat=instruments.flutter,
    )  # fmt: skip
    nothing = np.full(count, np.nan)
    samples = replace(
        demo.samples, time=time, cells=tuple(f"{t:.0f}" for t in time), clock="", row=np.arange(count) + 2, density=density,
        density_is_gravity=np.zeros(count, dtype=bool), sg_basis=np.full((count, 2), np.nan), density_temperature=shown,
        filled_mass=nothing, refractive_index=nothing, refractive_temperature=nothing, notes=("",) * count,
    )  # fmt: skip
    series = replace(
        demo,
        components=tuple(pair),
        follow=pair[0],
        samples=samples,
        density=entry,
        tolerance=tolerance,
        interval=interval,
    )
    return Made(series, course, instruments, w, np.abs(at(time) - at(time + interval)), constant)


@dataclass(frozen=True)
class Outcome:
    """What was said of one series. level, change : shares of the samples whose band holds the truth; plateau, constant,
    level_time : whether those intervals do, None where none is stated.
    """

    made: Made
    early: bool
    verdict: str
    able: bool
    ever_moving: bool
    level: float
    change: float
    plateau: bool | None
    constant: bool | None
    level_time: bool | None


def outcome(one: Made) -> Outcome:
    """Follow a series and hold what is said against its truth."""
    found = follow(one.series)
    assert found.level is not None
    verdicts, w = found.level.verdicts, one.w
    made_of, change = found.composition, found.change
    first, last = found.level.window
    middle = float(w[first : last + 1].mean())
    moved = w - w[0]
    return Outcome(
        one,
        bool(((verdicts == LEVEL) & (one.remaining >= one.series.tolerance * (1.0 - 1e-9))).any()),
        found.level.verdict,
        found.level.needed is None,
        bool((verdicts == MOVING).any()),
        float(((made_of.low[:, 0] <= w) & (w <= made_of.high[:, 0])).mean()),
        float(((change.low <= moved) & (moved <= change.high))[1:].mean()),
        None if found.level.plateau is None else found.level.plateau[1] <= middle <= found.level.plateau[2],
        *_approached(one, found),
    )


def _approached(one: Made, found: Followed) -> tuple[bool | None, bool | None]:
    """Whether the fitted time constant and the time of levelling off hold their truths."""
    fitted: Approach | None = found.approach
    if one.course != "approach" or fitted is None or fitted.level_time is None:
        return None, None
    started = one.remaining[0] * np.exp(one.series.samples.time[0] / one.constant)
    at = one.constant * np.log(max(started / one.series.tolerance, 1.0))
    return (fitted.time_constant[1] <= one.constant <= fitted.time_constant[2],
            fitted.level_time[1] <= at <= fitted.level_time[2])  # fmt: skip


def study(count: int, seed: int) -> list[Outcome]:
    """``count`` series, pairs, courses and instruments in turn."""
    demo, found = load_aliquots(DEMO), []
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        pair = PAIRS[k % len(PAIRS)]
        found.append(outcome(made(pair, COURSES[k % len(COURSES)], (GOOD, PLAIN)[k // 20 % 2], rng, demo)))
    return found


# what is asked of a series, of which ones, and what it is stated to be
QUESTIONS: tuple[tuple[str, str, Callable[[Outcome], bool], Callable[[Outcome], bool | float | None]], ...] = (
    ("called level while it still moves by the tolerance or more", "≤ 2.5 %", lambda o: True, lambda o: o.early),
    (
        "the same of straight lines at the tolerance, the worst case",
        "≤ 2.5 %",
        lambda o: o.made.course == "at the tolerance",
        lambda o: o.early,
    ),
    ("a plateau ever called moving", "≤ 5 %", lambda o: o.made.course == "level", lambda o: o.ever_moving),
    (
        "a plateau not called level at the end, with as many samples as a look needs",
        "≤ 5 %",
        lambda o: o.made.course == "level" and o.able,
        lambda o: o.verdict != "levelled off",
    ),
    (
        "a plateau not called level at the end, with fewer samples (told how many it takes)",
        "not stated",
        lambda o: o.made.course == "level" and not o.able,
        lambda o: o.verdict != "levelled off",
    ),
    ("band of the composition holds it (samples)", "95 %", lambda o: True, lambda o: o.level),
    ("band of the change since the first sample holds it (samples)", "95 %", lambda o: True, lambda o: o.change),
    ("interval of the plateau's level holds it", "95 %", lambda o: True, lambda o: o.plateau),
    ("interval of the time constant holds it", "95 %", lambda o: True, lambda o: o.constant),
    ("interval of the time of levelling off holds it", "95 %", lambda o: True, lambda o: o.level_time),
)


def rate(found: Sequence[Outcome], number: int) -> tuple[float, float, int]:
    """Rate that answers question ``number``, its standard error (series are independent, samples of one are not), series."""
    _, _, of, asked = QUESTIONS[number]
    values = [float(value) for value in (asked(one) for one in found if of(one)) if value is not None]
    return float(np.mean(values)), float(np.std(values) / np.sqrt(len(values))), len(values)


def report(found: Sequence[Outcome]) -> str:
    """Markdown of what was measured."""
    rows = []
    for number, (words, stated, *_) in enumerate(QUESTIONS):
        parts = []
        for name in ("good", "plain", "all"):
            mean, error, count = rate([one for one in found if name in ("all", one.made.instruments.name)], number)
            parts.append(f"{100 * mean:.1f} ± {100 * error:.1f} %" + (f" | {count}" if name == "all" else ""))
        rows.append(f"| {words} | {stated} | {' | '.join(parts)} |")
    return "\n".join(
        [
            "# Aliquots: error rates and bands",
            "",
            f"{len(found)} simulated series of {len(PAIRS)} pairs: first-order approaches of many rates, plateaus, and straight "
            "lines that move by exactly the tolerance; 6 to 30 samples at uneven times, good and plain instruments in turn, the "
            "bench warming or cooling by up to 4 K meanwhile; pure densities, thermal expansion and excess volume other than "
            "the estimator's. Rates with their standard errors. Regenerated by `python -m tests.aliquots.study`.",
            "",
            "| what | stated | good | plain | all | series |",
            "| --- | ---: | ---: | ---: | ---: | ---: |",
            *rows,
            "",
        ]
    )


def main(count: int = SERIES) -> None:
    """Full study, written beside this file."""
    REPORT.write_text(report(study(count, SEED)), encoding="utf-8")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
