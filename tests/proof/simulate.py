"""Whole runs: a charge distilled through a still, receivers changed, and what instruments of two qualities show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Balance, Evidence, nothing
from fractionkit.readings.terms import Measured
from fractionkit.still import Charge, Cuts, Distillation, distil
from tests.proof.truth import Truth, draw_control, draw_truth

Array = NDArray[np.float64]

LEAST_CUT = 0.01  # parts of what comes over: a receiver with less is left on the still for the next
MOST_CUTS = 12


@dataclass(frozen=True)
class Quality:
    """Standard deviations of instruments, SI, and the last digit that a person writes."""

    name: str
    temperature_bias: float
    temperature_repeat: float
    density_bias: float
    density_repeat: float
    pressure: float
    temperature_digit: float
    density_digit: float


GOOD = Quality("good", 0.1, 0.05, 0.2, 0.2, 50.0, 0.1, 0.1)
PLAIN = Quality("plain", 0.5, 0.2, 1.0, 1.0, 300.0, 0.2, 1.0)


@dataclass(frozen=True)
class Bench:
    """One run as it truly went. K cuts, n components.

    mass : (K,) kg; w : (K, n); head_start, head_end : (K,) K; pot_end : (K,) K, boiling point of the pot's liquid when
    the receiver is taken away. density_temperature : (K,) K, density : (K,) kg/m3 there.
    feed : (n,) mass fractions of the 1 kg charged; rest_mass, rest : kg and (n,) mass fractions left at the end.
    truth : of all runs drawn with this one, which is its row ``number``.
    place : (K,) where between the two head temperatures the dew point of the cut's mean composition lies, 0 to 1; NaN
    where they are closer than 0.05 K. has_head, has_density : (K,) which readings were taken.
    """

    names: tuple[str, ...]
    truth: Truth
    number: int
    stages: int
    pressure: float
    feed: Array
    rest_mass: float
    rest: Array
    mass: Array
    w: Array
    head_start: Array
    head_end: Array
    pot_end: Array
    density_temperature: Array
    density: Array
    place: Array
    has_head: NDArray[np.bool_]
    has_density: NDArray[np.bool_]


def benches(names: Sequence[str], runs: int, seed: int, *, control: bool = False) -> list[Bench]:
    """``runs`` runs of a mixture of ``names``, all different; ``control``: constants from the estimator's own prior."""
    rng = np.random.default_rng([seed, *(sum(map(ord, name)) for name in names)])
    truth = draw_control(names, runs, rng) if control else draw_truth(names, runs, rng)
    n = len(names)
    feed = 0.04 + (1.0 - 0.04 * n) * rng.dirichlet(np.ones(n), runs)
    stages = np.where(rng.random(runs) < 0.4, 1, rng.integers(2, 6, runs))
    pressure = rng.uniform(94e3, 103e3, runs)
    moles = Charge(feed, 1.0, "mass").moles(truth.molar_mass)
    whole = distil(
        truth,
        moles,
        stages.astype(float),
        rng.uniform(1.0, 6.0, runs),
        pressure,
        distilled=rng.uniform(0.8, 0.95, runs),
        tolerance=1e-3,
    )
    ends = np.stack([ends_of(whole, s, rng) for s in range(runs)])
    cuts = whole.cut_at_mass(ends)
    return [bench_of(truth, cuts, s, int(stages[s]), float(pressure[s]), feed[s], rng) for s in range(runs)]


def ends_of(whole: Distillation, run: int, rng: np.random.Generator) -> Array:
    """Kilograms at which the receivers of one run are changed (MOST_CUTS,), the last repeated where there are fewer."""
    mass = whole.distilled_mass[run]
    count = int(rng.integers(6, MOST_CUTS + 1))
    total = float(mass[-1])
    if rng.random() < 0.5:
        share = 0.3 / count + 0.7 * rng.dirichlet(np.ones(count))
        inner = total * np.cumsum(share)[:-1]
    else:
        rising = np.maximum.accumulate(whole.head_temperature[run])
        steps = rising[0] + (rising[-1] - rising[0]) * np.arange(1, count) / count
        inner = mass[np.minimum(np.searchsorted(rising, steps), len(mass) - 1)]
    kept = [0.0]
    for end in inner:
        if end - kept[-1] > LEAST_CUT * total and total - end > LEAST_CUT * total:
            kept.append(float(end))
    ends = np.full(MOST_CUTS, total)
    ends[: len(kept) - 1] = kept[1:]
    return ends


def bench_of(
    truth: Truth, cuts: Cuts, run: int, stages: int, pressure: float, feed: Array, rng: np.random.Generator
) -> Bench:
    """One of many distillations divided into receivers, with what was read of it."""
    taken = cuts.mass[run] > 1e-9
    mass, w, x, start, end, pot = (
        a[run, taken] for a in (cuts.mass, cuts.w, cuts.x, cuts.head_start, cuts.head_end, cuts.pot_end)
    )
    size = len(mass)
    part = truth.part(np.full(size, run))
    temperature = np.round(rng.uniform(291.15, 299.15) + 0.3 * rng.standard_normal(size), 1) + 0.05
    dew, _ = part.dew_point(x, np.full(size, pressure))
    rise = end - start
    place = np.where(np.abs(rise) > 0.05, (dew - start) / np.where(rise == 0.0, 1.0, rise), np.nan)
    mode = rng.random()
    rest = cuts.rest[run] * truth.molar_mass
    return Bench(
        truth.names,
        truth,
        run,
        stages,
        pressure,
        feed,
        float(rest.sum()),
        rest / rest.sum(),
        mass,
        w,
        start,
        end,
        pot,
        temperature,
        part.density(w, temperature),
        place,
        np.full(size, mode > 0.1),
        np.full(size, mode < 0.85) & ((rng.random(size) > 0.1) | (mode <= 0.1)),
    )


def _generator(bench: Bench, quality: Quality, seed: int) -> np.random.Generator:
    return np.random.default_rng([seed, bench.number, int(bench.pressure), len(quality.name)])


def repeated(bench: Bench, quality: Quality, seed: int) -> tuple[float, float]:
    """What thermometer and density instrument are off in every reading of `readings`, K and kg/m3."""
    warm, dense = _generator(bench, quality, seed).standard_normal(2)
    return float(quality.temperature_bias * warm), float(quality.density_bias * dense)


def readings(bench: Bench, quality: Quality, seed: int, *, ordered: bool = True) -> Evidence:
    """What instruments of this quality show of a run, with their stated uncertainties true; the charge is not known."""
    rng = _generator(bench, quality, seed)
    size = len(bench.mass)
    warm, dense = rng.standard_normal(2)
    station = 10.0 * np.round(0.1 * (bench.pressure + quality.pressure * rng.standard_normal()))

    def temperature(true: Array) -> Measured:
        shown = true + quality.temperature_bias * warm + quality.temperature_repeat * rng.standard_normal(size)
        return measured(shown, bench.has_head, quality.temperature_repeat, quality.temperature_digit, "thermometer",
                         quality.temperature_bias, 273.15)  # fmt: skip

    shown = bench.density + quality.density_bias * dense + quality.density_repeat * rng.standard_normal(size)
    density = measured(shown, bench.has_density, quality.density_repeat, quality.density_digit, "density",
                        quality.density_bias, 0.0)  # fmt: skip
    return Evidence(
        tuple(f"C{k + 1}" for k in range(size)),
        float(station),
        quality.pressure,
        temperature(bench.head_start),
        temperature(bench.head_end),
        nothing(size),
        nothing(size),
        density,
        np.where(bench.has_density, bench.density_temperature, np.nan),
        nothing(size),
        np.full(size, np.nan),
        balance=Balance(bench.mass, ordered=ordered),
    )


def measured(
    shown: Array, taken: NDArray[np.bool_], repeat: float, digit: float, name: str, bias: float, zero: float
) -> Measured:
    """Written down to the last digit, whose rounding is part of the repeatability."""
    written = zero + digit * np.round((shown - zero) / digit)
    spread = float(np.hypot(repeat, digit / np.sqrt(12.0)))
    return Measured(
        np.where(taken, written, np.nan),
        np.where(taken, spread, np.nan),
        {name: np.where(taken, bias, 0.0)},
    )
