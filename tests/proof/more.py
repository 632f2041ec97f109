"""More evidence of the same simulated runs: what else a bench could read, each added alone to head temperatures and density.

What is planted comes from the truth, not from the estimator: first drop = bubble point of the cut; dry point = where a
differential distillation of the cut ends with 1 to 5 % left, as much in all tests of a run or not; pot = bubble point of
what is in the pot, with superheat; refractive index by Gladstone and Dale's rule on the true volumes (the estimator mixes
by Lorentz and Lorenz), pure indices displaced by a draw of their stated u; a test's chance of a positive rises as a
logistic curve, not a normal one.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Balance, Detection, Evidence
from fractionkit.composition.vessels import pot_readings
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured
from fractionkit.still import distil
from tests.proof.simulate import Bench, Quality, measured, repeated

Array = NDArray[np.float64]
Chosen = NDArray[np.bool_]


@dataclass(frozen=True)
class Extras:
    """Standard deviations of what is read besides, SI; mass fractions for test and laboratory; kg for the balance."""

    index_bias: float
    index_repeat: float
    index_digit: float
    range_repeat: float
    range_digit: float
    limit: float
    laboratory: float
    weighing: float


EXTRAS = {
    "good": Extras(1e-4, 1e-4, 1e-4, 0.2, 0.1, 0.003, 0.002, 1e-4),
    "plain": Extras(3e-4, 2e-4, 5e-4, 0.5, 0.2, 0.01, 0.005, 1e-3),
}
LOST = 0.005  # most of a cut that goes off as vapour, uniform from nothing
TESTED = 3  # cuts taken for a boiling-range test
POT_BIAS, POT_REPEAT = 1.0, 0.5  # K, superheat and the pot's own thermometer, and what differs from reading to reading
LEFT = (0.01, 0.05)  # of a cut when the dry point is read: the last drop runs off the bottom of the flask
ONE_FLASK = 0.5  # of the runs all tests leave as much, in the others each its own
ALONE = "head temperatures and density"
NO_ORDER = "the same, order of distillation not used"
BALANCE = "charge and residue weighed, density of both"
INDEX = "refractive index"
POT = "residue weighed, pot temperature at the end of each cut"
RANGE = "boiling range of three cuts"
TEST = "a test of the purest cut for another component"
LABORATORY = "another laboratory's result of one cut"


def variants(bench: Bench, quality: Quality, evidence: Evidence, seed: int) -> dict[str, tuple[Evidence, Chosen]]:
    """Each kind of further evidence added to ``evidence``, and which cuts (K,) it is of."""
    rng = np.random.default_rng(
        [seed, bench.number, int(bench.pressure), len(quality.name), 4]
    )  # no two mixtures alike
    warm, dense = repeated(bench, quality, seed)
    extras = EXTRAS[quality.name]
    every = np.ones(len(bench.mass), dtype=bool)
    balance = evidence.balance
    assert balance is not None
    return {
        ALONE: (evidence, every),
        NO_ORDER: (replace(evidence, balance=replace(balance, ordered=False)), every),
        BALANCE: (_balanced(bench, quality, evidence, dense, rng), every),
        POT: (_pot_read(bench, quality, evidence, rng), every),
        INDEX: (_refracted(bench, extras, evidence, rng), every),
        RANGE: _ranged(bench, quality, evidence, warm, rng),
        TEST: spot_test(bench, extras, evidence, rng),
        LABORATORY: _sent_out(bench, extras, evidence, rng),
    }


def _balanced(bench: Bench, quality: Quality, evidence: Evidence, dense: float, rng: np.random.Generator) -> Evidence:
    """Residue and charge, their densities read with the run's instrument."""
    weighing = EXTRAS[quality.name].weighing
    mass = _weighed(bench, weighing, rng)
    charge = 1.0 + weighing * float(rng.standard_normal())
    at = np.full(2, 293.15)
    true = bench.truth.part(np.full(2, bench.number)).density(np.stack([bench.rest, bench.feed]), at)
    shown = true + dense + quality.density_repeat * rng.standard_normal(2)
    read = measured(shown, np.ones(2, dtype=bool), quality.density_repeat, quality.density_digit, "density",
                    quality.density_bias, 0.0)  # fmt: skip
    longer = _longer(evidence, 2)
    return replace(
        longer,
        names=(*evidence.names, "residue", "charge"),
        density=_joined(evidence.density, read),
        density_temperature=np.append(evidence.density_temperature, at),
        residue=True,
        charge=True,
        balance=Balance(mass, charge, weighing),
    )


def _weighed(bench: Bench, weighing: float, rng: np.random.Generator) -> Array:
    """Cuts and residue on the balance (K + 1,), kg; a little of each cut went off."""
    kept = bench.mass * (1.0 - LOST * rng.random(len(bench.mass)))
    return np.asarray(np.append(kept, bench.rest_mass) + weighing * rng.standard_normal(len(kept) + 1))


def _pot_read(bench: Bench, quality: Quality, evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """The residue, of which nothing is known but its mass, and what the pot's thermometer showed before each vessel."""
    mass = _weighed(bench, EXTRAS[quality.name].weighing, rng)
    shown = bench.pot_end + POT_BIAS * rng.standard_normal() + POT_REPEAT * rng.standard_normal(len(bench.mass))
    return replace(
        _longer(evidence, 1),
        names=(*evidence.names, "residue"),
        residue=True,
        balance=Balance(mass),
        pot=pot_readings(np.append(np.nan, shown)),
    )


def _joined(first: Measured, second: Measured) -> Measured:
    """Readings of the cuts, then of what follows them."""
    shared = {name: np.append(first.shared[name], second.shared[name]) for name in first.shared}
    return Measured(np.append(first.value, second.value), np.append(first.repeat, second.repeat), shared)


def _longer(evidence: Evidence, count: int) -> Evidence:
    """The same with ``count`` further vessels of which nothing was read."""

    def unread(kind: Measured) -> Measured:
        return _joined(kind, Measured(*np.full((2, count), np.nan), {name: np.zeros(count) for name in kind.shared}))

    kinds = {f.name: getattr(evidence, f.name) for f in fields(evidence)}
    parts = {name: unread(kind) for name, kind in kinds.items() if isinstance(kind, Measured)}
    more = np.full(count, np.nan)
    return replace(
        evidence,
        density_temperature=np.append(evidence.density_temperature, more),
        index_temperature=np.append(evidence.index_temperature, more),
        **parts,
    )


def _refracted(bench: Bench, extras: Extras, evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Of every cut, at the temperature of its density; pure indices are the run's, the same for both qualities."""
    constants = Mixture(bench.names).constants
    own = np.random.default_rng([bench.number, int(bench.pressure)]).standard_normal(len(bench.names))
    T = bench.density_temperature
    pure = constants.refraction.pure(T) + constants.refraction.u * own
    rho = bench.truth.part(np.full(len(T), bench.number))
    away = T[:, None] - 293.15
    volume = bench.w / (rho.rho + away * (rho.slope + away * rho.curvature))
    true = 1.0 + bench.density * (volume * (pure - 1.0)).sum(axis=1)
    shown = true + extras.index_bias * rng.standard_normal() + extras.index_repeat * rng.standard_normal(len(T))
    read = measured(shown, np.ones(len(T), dtype=bool), extras.index_repeat, extras.index_digit, "refractive index",
                    extras.index_bias, 0.0)  # fmt: skip
    return replace(evidence, index=read, index_temperature=T)


def _ranged(
    bench: Bench, quality: Quality, evidence: Evidence, warm: float, rng: np.random.Generator
) -> tuple[Evidence, Chosen]:
    """First drop and dry point of some cuts, with the run's thermometer."""
    size, extras = len(bench.mass), EXTRAS[quality.name]
    chosen = np.zeros(size, dtype=bool)
    chosen[rng.permutation(size)[:TESTED]] = True
    tested = bench.w[chosen] / bench.w[chosen].sum(axis=1, keepdims=True)
    count = len(tested)
    left = np.full(count, rng.uniform(*LEFT)) if rng.random() < ONE_FLASK else rng.uniform(*LEFT, count)
    part = bench.truth.part(np.full(count, bench.number))
    moles = tested / part.molar_mass
    whole = distil(part, moles, np.ones(count), np.zeros(count), np.full(count, bench.pressure),
                   distilled=1.0 - left, tolerance=1e-3, quick=False)  # fmt: skip
    first, last = np.full((2, size), np.nan)
    first[chosen], last[chosen] = whole.head_temperature[:, 0], whole.head_temperature[:, -1]

    def read(true: Array) -> Measured:
        shown = true + warm + extras.range_repeat * rng.standard_normal(size)
        return measured(shown, chosen, extras.range_repeat, extras.range_digit, "thermometer",
                        quality.temperature_bias, 273.15)  # fmt: skip

    return replace(evidence, range_start=read(first), range_end=read(last)), chosen


def spot_test(bench: Bench, extras: Extras, evidence: Evidence, rng: np.random.Generator) -> tuple[Evidence, Chosen]:
    """The purest cut of one component tested for another: positive 95 times in 100 at the limit, 5 at nothing."""
    main, other = rng.permutation(len(bench.names))[:2].tolist()
    cut = int(np.argmax(bench.w[:, main]))
    chance = 1.0 / (1.0 + np.exp(-np.log(19.0) * (2.0 * bench.w[cut, other] / extras.limit - 1.0)))
    found = Detection(cut, other, bool(rng.random() < chance), extras.limit)
    return replace(evidence, detections=(found,)), np.arange(len(bench.mass)) == cut


def _sent_out(bench: Bench, extras: Extras, evidence: Evidence, rng: np.random.Generator) -> tuple[Evidence, Chosen]:
    """One cut's mass fractions but the last, each with its own error."""
    size, n = bench.w.shape
    chosen = np.arange(size) == rng.integers(size)
    value, u = np.full((2, size, n), np.nan)
    true = bench.w[chosen, : n - 1]
    value[chosen, : n - 1] = np.clip(true + extras.laboratory * rng.standard_normal(true.shape), 0.0, 1.0)
    u[chosen, : n - 1] = extras.laboratory
    return replace(evidence, stated=value, stated_u=u), chosen
