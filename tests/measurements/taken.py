"""Measurements that were advised, really taken: each is read from the truth, written down, and the evidence made anew.

The truth is that of the proof's simulator (tests/proof/simulate.py): another thermodynamic model and other constants than
the estimator's. A refractive index follows Gladstone and Dale's rule and a boiling-range test is a distillation of the cut,
as tests/proof/more.py has them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence
from fractionkit.measurements.offers import Offer
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured
from fractionkit.still import distil
from tests.proof.more import LEFT
from tests.proof.simulate import Bench, Quality, repeated

Array = NDArray[np.float64]

ROOM = 293.15
DRY_FLUTTER = 0.3  # K, of a dry point besides the thermometer


def taken(offer: Offer, bench: Bench, quality: Quality, evidence: Evidence, seed: int) -> Evidence:
    """The evidence of a run with one advised measurement in it."""
    rng = np.random.default_rng([seed, bench.number, int(bench.pressure), *offer.what.encode()])
    warm, dense = repeated(bench, quality, seed)
    if offer.kind == "thermometer":
        return _calibrated(evidence, warm + offer.common * float(rng.standard_normal()), offer.common)
    if offer.kind == "barometer":
        shown = bench.pressure + offer.common * float(rng.standard_normal())
        return replace(evidence, pressure=shown, pressure_u=offer.common)
    common = dense if offer.kind == "density" else offer.common * float(rng.standard_normal())
    if offer.kind == "boiling range":
        return _ranged(offer, bench, evidence, warm, rng)
    error = common + offer.fresh * rng.standard_normal(len(offer.cuts))
    if offer.kind == "refractive index":
        return _refracted(offer, bench, evidence, error)
    density = _truth(bench, offer.cuts).density(bench.w[offer.cuts], np.full(len(offer.cuts), ROOM)) + error
    warmth = evidence.density_temperature.copy()
    warmth[offer.cuts] = ROOM
    name, size = ("density", quality.density_bias) if offer.kind == "density" else ("density meter", offer.common)
    read = _entered(evidence.density, offer, density, name, size)
    return replace(evidence, density=read, density_temperature=warmth)


def _truth(bench: Bench, cuts: NDArray[np.intp]):
    return bench.truth.part(np.full(len(cuts), bench.number))


def _entered(kind: Measured, offer: Offer, value: Array, name: str, size: float) -> Measured:
    """Readings of the offer's cuts in place of those that were there; they feel the instrument ``name`` only."""

    def with_new(old: Array, new: Array | float) -> Array:
        found = old.copy()
        found[offer.cuts] = new
        return found

    shared = {other: with_new(change, 0.0) for other, change in kind.shared.items()}
    shared[name] = with_new(shared.get(name, np.zeros(len(kind.value))), size)
    return Measured(with_new(kind.value, value), with_new(kind.repeat, offer.fresh), shared)


def _calibrated(evidence: Evidence, shown: float, u: float) -> Evidence:
    """All temperatures corrected by what ice and steam showed."""

    def corrected(kind: Measured) -> Measured:
        shared = dict(kind.shared)
        if "thermometer" in shared:
            shared["thermometer"] = np.where(shared["thermometer"] == 0.0, 0.0, u)
        return replace(kind, value=kind.value - shown, shared=shared)

    return replace(evidence, head_start=corrected(evidence.head_start), head_end=corrected(evidence.head_end))


def _refracted(offer: Offer, bench: Bench, evidence: Evidence, error: Array) -> Evidence:
    constants = Mixture(bench.names).constants
    own = np.random.default_rng([bench.number, int(bench.pressure)]).standard_normal(len(bench.names))
    T = np.full(len(offer.cuts), ROOM)
    pure = constants.refraction.pure(T) + constants.refraction.u * own
    truth, w = _truth(bench, offer.cuts), bench.w[offer.cuts]
    value = 1.0 + truth.density(w, T) * (w / truth.rho * (pure - 1.0)).sum(axis=1) + error
    warmth = evidence.index_temperature.copy()
    warmth[offer.cuts] = ROOM
    read = _entered(evidence.index, offer, value, "refractive index", offer.common)
    return replace(evidence, index=read, index_temperature=warmth)


def _ranged(offer: Offer, bench: Bench, evidence: Evidence, warm: float, rng: np.random.Generator) -> Evidence:
    """First drop and dry point with the run's thermometer."""
    k = int(offer.cuts[0])
    truth, w = _truth(bench, offer.cuts), bench.w[[k]] / bench.w[k].sum()
    whole = distil(truth, w / truth.molar_mass, np.ones(1), np.zeros(1), np.full(1, bench.pressure),
                   distilled=1.0 - rng.uniform(*LEFT, 1), tolerance=1e-3, quick=False)  # fmt: skip
    first, last = whole.head_temperature[0, [0, -1]] + warm + offer.fresh * rng.standard_normal(2)
    last += DRY_FLUTTER * rng.standard_normal()
    size = next(float(np.nanmax(c)) for c in (evidence.head_start.shared["thermometer"],))
    read = [_entered(kind, offer, np.array([value]), "thermometer", size)
            for kind, value in ((evidence.range_start, first), (evidence.range_end, last))]  # fmt: skip
    return replace(evidence, range_start=read[0], range_end=read[1])
