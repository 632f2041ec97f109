"""From a run sheet to its assessment: corrections, inference, balance, lot, words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment import context, words
from fractionkit.assessment.azeotropes import azeotrope_flags, azeotropes, layer_flags, layered, settled
from fractionkit.assessment.estimates import estimates, spread
from fractionkit.assessment.model import (
    AT_ODDS,
    DOUBTFUL,
    AssessedCut,
    Assessment,
    Balance,
    Decision,
    Lot,
    Portion,
)
from fractionkit.balance import Closure, Masses, close, cut_masses
from fractionkit.composition import CorrectedRun, RunPosterior, correct, fit_evidence
from fractionkit.diagnosis import Diagnosis, diagnose
from fractionkit.lots import Verdict, choose, decide, meets
from fractionkit.mixture import Mixture
from fractionkit.quantities import Estimate, Flag
from fractionkit.sheets import Run

Array = NDArray[np.float64]


def assess(run: Run, *, advise: bool = False) -> Assessment:
    """Assess a run: what is in each cut, what to do with it, what the lot may be called.

    ``advise`` asks also which measurement would tell most next; it takes as long again.

    Raises
    ------
    InputError
        where a reading cannot be corrected (a vessel lighter full than empty, a temperature out of a table).
    ConvergenceError
        where the readings are so much at odds that no interval can be stated.
    """
    mixture = Mixture(run.components)
    corrected = correct(run, mixture)
    posterior = fit_evidence(mixture, corrected.evidence)
    masses = _masses(run, corrected, posterior, mixture)
    posterior, still_flags = _tied(run, mixture, corrected, posterior, masses)
    closure = close(masses, posterior.draws, *context.sides(run, posterior))
    at_odds = posterior.consistency < AT_ODDS  # nothing is then said of what the cuts are or what becomes of them
    parts = layered(run, mixture, posterior) & (not at_odds)
    boiling = () if at_odds else azeotropes(run, mixture, corrected, posterior, parts)
    kept, verdicts, alone = _decisions(run, posterior, masses, parts, settled(boiling, parts, run))
    doubtful = posterior.consistency < DOUBTFUL or words.discordant_cuts(posterior)
    diagnosis = diagnose(run, mixture) if doubtful else None
    curve = context.curve(mixture, corrected, posterior, run)
    readings = context.plotted(mixture, corrected, posterior, masses.mass, curve)
    return Assessment(
        title=run.title,
        date=run.date.isoformat() if run.date else None,
        source=str(run.source),
        components=run.components,
        target=run.target.component if run.target else None,
        purity=run.target.purity if run.target else None,
        confidence=run.target.confidence if run.target else None,
        pressure=corrected.evidence.pressure,
        pressure_u=corrected.evidence.pressure_u,
        cuts=_cuts(
            run, posterior, masses, verdicts, alone, _cut_flags(run, corrected, posterior, masses, diagnosis, parts)
        ),
        lot=_lot(run, corrected, posterior, masses, kept),
        portions=() if at_odds else _portions(run, posterior, masses, verdicts),
        balance=_balance(run, closure),
        findings=() if at_odds else words.findings(corrected.evidence, posterior),
        corrections=corrected.corrections,
        constants=context.constants(mixture),
        cautions=context.cautions(run.components),
        flags=(
            *words.run_flags(run, corrected, posterior, closure, mixture),
            *azeotrope_flags(boiling, run, corrected.evidence.pressure),
            *still_flags,
            *(() if diagnosis is None else words.explanations(diagnosis)),
        ),
        readings=readings,
        curve=curve,
        effective_samples=posterior.effective,
        advice=_advice(run, mixture, corrected, posterior, masses) if advise else (),
        consistency=posterior.consistency,
        draws=posterior.draws,
        mass_u=masses.u,
        residue_draws=posterior.residue,
    )


def _tied(
    run: Run, mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, masses: Masses
) -> tuple[RunPosterior, tuple[Flag, ...]]:
    """The posterior with the still's own equation as evidence, where the sheet states the stages."""
    if run.still is None or run.still.stages is None:
        return posterior, ()
    from fractionkit.stages.tie import tie  # here, since few sheets state their stages

    tied = tie(run, mixture, corrected, posterior, masses.mass)
    return tied.posterior, (Flag("still_used" if tied.used else "still_left_out", tied.text),)


def _advice(
    run: Run, mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, masses: Masses
) -> tuple[str, ...]:
    from fractionkit.measurements.next import next_measurements, told  # here, since few ask

    return told(next_measurements(run, mixture, corrected.evidence, posterior, masses.mass))


def _masses(run: Run, corrected: CorrectedRun, posterior: RunPosterior, mixture: Mixture) -> Masses:
    """Weighed masses, or volume times density: the measured one, else the one that the composition implies."""
    cuts, density = run.cuts, corrected.evidence.density
    temperature = np.where(np.isnan(cuts.density_temperature), 293.15, cuts.density_temperature)
    implied = mixture.density(posterior.mean, temperature)
    spread = np.sqrt(np.einsum("kp,kp->k", *(2 * [mixture.density_errors(posterior.mean, temperature)])))
    read, read_u = density.value[: len(cuts)], density.repeat[: len(cuts)]
    value = np.where(np.isnan(read), implied, read)
    u = np.where(np.isnan(read), spread, read_u)
    return cut_masses(cuts.mass, cuts.volume, value, u)


def _decisions(
    run: Run, posterior: RunPosterior, masses: Masses, parts: NDArray[np.bool_], beforehand: dict[int, Verdict]
) -> tuple[NDArray[np.bool_], tuple[Verdict, ...], Array | None]:
    """Cuts in the lot (K,), a verdict a cut, and the chance of each to meet the target alone."""
    size = len(run.cuts)
    if run.target is None:
        verdict = Verdict("recycle", "no target is stated, so nothing can be kept for it")
        return np.zeros(size, dtype=bool), (verdict,) * size, None
    if posterior.consistency < AT_ODDS:
        return np.zeros(size, dtype=bool), (Verdict("recycle", words.SET_ASIDE),) * size, None
    i = run.components.index(run.target.component)
    draws = posterior.draws[..., i]
    alone = meets(draws - run.target.purity)
    kept = choose(np.where(parts, np.nan, masses.mass), draws, run.target.purity, run.target.confidence)
    others = posterior.mean.copy()
    others[:, i] = -1.0
    verdicts = decide(
        kept,
        alone,
        posterior.mean[:, i],
        posterior.low[:, i],
        posterior.high[:, i],
        masses.mass / np.nansum(masses.mass),
        run.target.component,
        others.max(axis=1),
        tuple(run.components[j] for j in others.argmax(axis=1)),
        run.target.purity,
        run.target.confidence,
        beforehand,
    )
    return kept, verdicts, alone


def _cut_flags(
    run: Run,
    corrected: CorrectedRun,
    posterior: RunPosterior,
    masses: Masses,
    diagnosis: Diagnosis | None,
    parts: NDArray[np.bool_],
) -> dict[int, tuple[Flag, ...]]:
    layers = {k: (flag,) for k, flag in layer_flags(run, parts).items()}
    told = words.cut_flags(run, corrected, posterior, masses, diagnosis)
    return {k: (*told.get(k, ()), *layers.get(k, ())) for k in {*told, *layers}}


def _cuts(
    run: Run,
    posterior: RunPosterior,
    masses: Masses,
    verdicts: tuple[Verdict, ...],
    alone: Array | None,
    flags: dict[int, tuple[Flag, ...]],
) -> tuple[AssessedCut, ...]:
    return tuple(
        AssessedCut(
            name,
            None if np.isnan(masses.mass[k]) else float(masses.mass[k]),
            {
                component: Estimate(*(float(part[k, i]) for part in (posterior.mean, posterior.low, posterior.high)))
                for i, component in enumerate(run.components)
            },
            verdicts[k].decision,
            verdicts[k].reason,
            None if alone is None else float(alone[k]),
            flags.get(k, ()),
        )
        for k, name in enumerate(run.cuts.names)
    )


def combined(posterior: RunPosterior, mass: Array, chosen: NDArray[np.bool_]) -> Array:
    """Mass fractions (D, n) of the chosen cuts put together."""
    share = mass[chosen] / mass[chosen].sum()
    return np.asarray(np.einsum("k,dkn->dn", share, posterior.draws[:, chosen]))


def _lot(
    run: Run, corrected: CorrectedRun, posterior: RunPosterior, masses: Masses, kept: NDArray[np.bool_]
) -> Lot | None:
    if run.target is None:
        return None
    if not kept.any():
        said = words.NO_LOT_AT_ODDS if posterior.consistency < AT_ODDS else words.no_lot(run.target)
        return Lot((), 0.0, None, 0.0, False, said, words.not_tested(run.components))
    draws = combined(posterior, masses.mass, kept)
    i = run.components.index(run.target.component)
    assay = _mixed(posterior, masses.mass, kept)[i]
    chance = float(meets(draws[:, i] - run.target.purity))
    lower = float(np.quantile(draws[:, i], 0.05))
    return Lot(
        tuple(name for name, k in zip(run.cuts.names, kept, strict=True) if k),
        float(masses.mass[kept].sum()),
        assay,
        chance,
        chance >= run.target.confidence,
        words.label(run.target, assay, lower, chance, corrected),
        words.not_tested(run.components),
    )


def _portions(run: Run, posterior: RunPosterior, masses: Masses, verdicts: tuple[Verdict, ...]) -> tuple[Portion, ...]:
    """Cuts that go the same way; those distilled again in groups of one main component, since they are not mixed."""
    decisions = np.array([verdict.decision for verdict in verdicts])
    main = posterior.mean.argmax(axis=1)
    known = np.isfinite(masses.mass)
    found = []
    others: tuple[Decision, ...] = ("recycle", "redistil", "waste")
    for decision in others:
        gone = (decisions == decision) & known
        groups = [gone & (main == i) for i in range(len(run.components))] if decision == "redistil" else [gone]
        for chosen in groups:
            if not chosen.any():
                continue
            composition = dict(zip(run.components, _mixed(posterior, masses.mass, chosen), strict=True))
            names = tuple(name for name, k in zip(run.cuts.names, chosen, strict=True) if k)
            found.append(Portion(decision, names, float(masses.mass[chosen].sum()), composition))
    return tuple(found)


def _mixed(posterior: RunPosterior, mass: Array, chosen: NDArray[np.bool_]) -> list[Estimate]:
    """Mass fractions of the chosen cuts put together; of one cut alone its own, free of the draws' noise."""
    if chosen.sum() > 1:
        return estimates(combined(posterior, mass, chosen))
    k = int(np.flatnonzero(chosen)[0])
    ends = (part[k].tolist() for part in (posterior.mean, posterior.low, posterior.high))
    return [Estimate(*values) for values in zip(*ends, strict=True)]


def _balance(run: Run, closure: Closure) -> Balance:
    components: dict[str, dict[str, Estimate]] = {}
    parts = {
        "charge": closure.component_charge,
        "recovered": closure.component_recovered,
        "loss": closure.component_loss,
    }
    for i, component in enumerate(run.components):
        components[component] = {what: spread(draws[:, i]) for what, draws in parts.items() if draws is not None}
    return Balance(
        closure.charge,
        closure.charge_u,
        closure.recovered,
        closure.residue,
        closure.holdup,
        None if closure.loss_draws is None else spread(closure.loss_draws),
        components,
    )
