"""A run laid out before its still: the charge, the unknowns and the readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.balance import cut_masses, weighing_u
from fractionkit.composition import CorrectedRun, RunPosterior
from fractionkit.errors import Fault, InputError
from fractionkit.mixture import Mixture
from fractionkit.quantities import Quantity
from fractionkit.sheets import Run
from fractionkit.stages.forward import LAG, Bench
from fractionkit.stages.infer import Inference, Sampled
from fractionkit.stages.rows import Rows
from fractionkit.stages.space import Reflux, Space, Stages, balance_composition

Array = NDArray[np.float64]

ALONG = 80
"""Points of the curves along the run."""

UNSTATED = 0.1
"""Relative standard uncertainty of stages or a reflux ratio typed without a ± (common practice, no source)."""

LOST = 0.3
"""Part of the unaccounted-for mass by which what was in the pot is uncertain: vapour lost on the way."""

LONGEST = 60
"""Cuts beyond which the arrays of all linear errors grow too large, and more would not tell more."""


@dataclass(frozen=True)
class Fitting:
    """A run laid out for its still: everything that `fitting` and `tie` need."""

    run: Run
    mixture: Mixture
    corrected: CorrectedRun
    posterior: RunPosterior
    mass: Array
    space: Space
    bench: Bench
    rows: Rows

    def sampled(self) -> Sampled:
        """Posterior of all unknowns."""
        inference = Inference(self.space, self.bench, self.rows)
        return inference.sample(inference.mode())


def reflux_of(quantity: Quantity | None) -> Reflux:
    """Reflux ratio as typed; unknown where it was not."""
    if quantity is None:
        return Reflux.unknown()
    u = UNSTATED * max(quantity.value, 0.5) if quantity.u is None else quantity.u
    return Reflux.of(quantity.value, u)


def stages_of(quantity: Quantity | None) -> Stages:
    """Number of stages as typed; unknown where it was not."""
    if quantity is None:
        return Stages()
    return Stages(quantity.value, UNSTATED * quantity.value if quantity.u is None else max(quantity.u, 1e-3))


def lay_out(
    run: Run,
    mixture: Mixture,
    corrected: CorrectedRun,
    posterior: RunPosterior,
    mass: Array,
    stages: Stages,
    reflux: Reflux,
) -> Fitting:
    """Bring a run before its still.

    Raises
    ------
    InputError
        where the mass of a cut or of the charge is unknown.
    """
    if not np.isfinite(mass).all():
        missing = [name for name, m in zip(run.cuts.names, mass, strict=True) if not np.isfinite(m)]
        raise InputError(
            Fault(None, f"a mass of every cut ({', '.join(missing)}): the still's equation needs all", str(run.table))
        )
    if len(mass) > LONGEST:
        expected = f"at most {LONGEST} cuts to hold against a still; put neighbours together"
        raise InputError(Fault(f"{len(mass)} cuts", expected, str(run.table)))
    residue = run.residue.mass.value if run.residue is not None and run.residue.mass is not None else None
    charge, u = _charged(run, mass, residue)
    masses, compositions = [mass], [posterior.mean]
    rest = charge - float(mass.sum()) if residue is None else residue
    if rest > 0.0:
        left = posterior.mean[-1] if posterior.residue is None else posterior.residue.mean(axis=0)
        masses.append(np.array([rest]))
        compositions.append(left[None])
    feed = balance_composition(masses, compositions) if posterior.charge is None else posterior.charge.mean(axis=0)
    evidence = corrected.evidence
    space = Space(mixture, evidence.pressure, evidence.pressure_u, stages, reflux, feed, charge, u,
                  pot_read=evidence.pot is not None)  # fmt: skip
    moles = float((mass * (posterior.mean / mixture.molar_mass).sum(axis=1)).sum())
    bench = Bench(np.cumsum(mass), moles, LAG * charge, np.linspace(0.0, float(mass.sum()), ALONG + 1)[1:])
    return Fitting(run, mixture, corrected, posterior, mass, space, bench, Rows(space, bench, evidence, mass))


def _charged(run: Run, mass: Array, residue: float | None) -> tuple[float, float]:
    """What was in the pot, kg, and its standard uncertainty."""
    out = float(mass.sum()) + (residue or 0.0) + (run.holdup.value if run.holdup is not None else 0.0)
    if run.charge is None or run.charge.mass is None:
        if residue is None:
            expected = "the mass of the charge or of the residue: without it nobody knows how far the pot was emptied"
            raise InputError(Fault(None, expected, str(run.source), column="[charge] mass"))
        return out, 0.01 * out
    typed = run.charge.mass
    u = float(weighing_u(typed.value)) if typed.u is None else typed.u
    if residue is None:
        if out >= 0.995 * typed.value:
            expected = f"more than the {1e3 * out:.0f} g that came over"
            raise InputError(Fault(f"{1e3 * typed.value:g} g", expected, str(run.source), column="[charge] mass"))
        return typed.value, u
    lost = typed.value - out
    return typed.value - 0.5 * lost, float(np.hypot(u, LOST * lost))


def masses_of(run: Run, mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior) -> Array:
    """Masses (K,) kg of the cuts: weighed, else volume times density."""
    cuts, density = run.cuts, corrected.evidence.density
    temperature = np.where(np.isnan(cuts.density_temperature), 293.15, cuts.density_temperature)
    implied = mixture.density(posterior.mean, temperature)
    read = density.value[: len(cuts)]
    value = np.where(np.isnan(read), implied, read)
    return cut_masses(cuts.mass, cuts.volume, value, np.zeros(len(cuts))).mass
