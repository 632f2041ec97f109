"""Runs with one planted fault: is the true cause found, and is none found where there is none?

Truth by the proof's own simulator (another thermodynamic model and other constants than the estimator's). A fault is
planted in the readings, or a third component in the charge that the sheet does not name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs
from fractionkit.still import Charge, distil
from fractionkit.substances.activity_sources import Model, available
from tests.proof.simulate import GOOD, PLAIN, Bench, Quality, _bench, _ends, readings
from tests.proof.truth import draw_truth

Array = NDArray[np.float64]

PAIRS = (
    ("chloroform", "carbon tetrachloride"),
    ("dichloromethane", "chloroform"),
    ("carbon tetrachloride", "trichloroethylene"),
    ("trichloroethylene", "tetrachloroethylene"),
    ("1,2-dichloroethane", "1,1,2-trichloroethane"),
    ("1,1,1-trichloroethane", "trichloroethylene"),
)
COMPONENTS = ("ethanol", "methanol", "acetone", "tetrachloroethylene", "1,1,2,2-tetrachloroethane", "dichloromethane", "toluene")  # fmt: skip
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


@dataclass(frozen=True)
class Case:
    """A run as it was written down, and what is wrong with it."""

    names: tuple[str, ...]
    evidence: Evidence
    mass: Array
    fault: str
    cause: str
    size: float
    gravity: bool
    quality: str


def runs(names: Sequence[str], feed: Array, seed: int) -> list[Bench]:
    """Benches of charges with mass fractions ``feed`` (S, n), both kinds of reading taken of every cut."""
    rng = np.random.default_rng([seed, *(sum(map(ord, name)) for name in names)])
    count = len(feed)
    truth = draw_truth(names, count, rng)
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


def cases(names: Sequence[str], fault: str, count: int, seed: int) -> list[Case]:
    """``count`` runs of a pair with a fault planted, good and plain instruments in turn."""
    rng = np.random.default_rng([seed, FAULTS.index(fault), *(sum(map(ord, name)) for name in names)])
    first = rng.uniform(0.15, 0.85, count)
    feed = np.stack([first, 1.0 - first], axis=-1)
    if fault != "third component":
        benches = runs(names, feed, seed + 1000 * FAULTS.index(fault))
        return [_planted(b, names, fault, QUALITIES[i % 2], seed, rng) for i, b in enumerate(benches)]
    others = [name for name in COMPONENTS if name not in names and _has_truth((*names, name))]
    chosen = [others[int(i)] for i in rng.integers(len(others), size=count)]
    found = []
    for i, extra in enumerate(chosen):
        amount = rng.uniform(0.01, 0.08)
        whole = np.append((1.0 - amount) * feed[i], amount)[None]
        bench = runs([*names, extra], whole, seed + 7919 * (i + 1))[0]
        quality = QUALITIES[i % 2]
        found.append(
            Case(
                tuple(names),
                readings(bench, quality, seed),
                bench.mass,
                fault,
                extra,
                float(bench.w[:, 2].max()),
                False,
                quality.name,
            )  # fmt: skip
        )
    return found


def _has_truth(names: tuple[str, ...]) -> bool:
    """Whether some UNIFAC variant that the estimator does not use knows all groups; see `truth`."""
    used = {activity_pairs()[first, second].origin for first, second in combinations(names, 2)}
    models: tuple[Model, ...] = ("UNIFAC", "Dortmund")
    return any(m not in used and all(available(m, *pair) for pair in combinations(names, 2)) for m in models)


def _planted(
    bench: Bench, names: Sequence[str], fault: str, quality: Quality, seed: int, rng: np.random.Generator
) -> Case:
    evidence = readings(bench, quality, seed)
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
    return Case(tuple(names), evidence, bench.mass, fault, fault, size, gravity, quality.name)


def _thermal(bench: Bench) -> Array:
    """d density/dT (K,) of each cut, volumes adding, kg/m3/K, from the catalogue's slopes."""
    mixture = Mixture(bench.names)
    T = bench.density_temperature
    return np.asarray(mixture.density(bench.w, T + 0.5) - mixture.density(bench.w, T - 0.5))
