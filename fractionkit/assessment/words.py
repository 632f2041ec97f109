"""What the assessment says in words: flags, findings on instruments, the label."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import AT_ODDS, DOUBTFUL, Finding
from fractionkit.assessment.rarity import rarity
from fractionkit.balance import Closure, Masses
from fractionkit.composition import CorrectedRun, Evidence, RunPosterior
from fractionkit.diagnosis import Diagnosis
from fractionkit.inference.tail import chi_square_tail
from fractionkit.mixture import Mixture
from fractionkit.quantities import (
    COVERAGE_95,
    Estimate,
    Flag,
    format_floor,
    format_interval,
    format_mass,
    format_probability,
    format_typed,
)
from fractionkit.sheets import Run, TargetEntry

Array = NDArray[np.float64]

NOT_TESTED = (
    "water",
    "acidity and free halogen",
    "stabiliser (distilling removes it)",
    "residue on evaporation",
    "colour",
    "any substance that the sheet does not name",
)
SET_ASIDE = "the readings are at odds: set it aside and measure again before anything is done with it"
NO_LOT_AT_ODDS = ("the readings are at odds: no lot is to be relied on, and nothing may be labelled",)
WIDE = 0.30  # width of an interval that says little
LARGE_LOSS = 0.05  # share of the charge
FALLS = 5.0  # K by which a head that lies lower than that of the cut before is no plateau's waver
TOLD_LOSS = 0.01  # mass fraction by which a loss must be able to move the charge's composition to be told

# Names of shared errors that belong to an instrument, with how the report calls it and how an error shows.
INSTRUMENTS = {
    "thermometer": ("thermometer", "K", "reads", ("high", "low")),
    "density": ("density", "kg/m3", "comes out", ("high", "low")),
    "pressure": ("pressure", "Pa", "is", ("above", "below")),
    "refractive index": ("refractometer", "", "reads", ("high", "low")),
}


def findings(evidence: Evidence, posterior: RunPosterior) -> tuple[Finding, ...]:
    """What the run says of each instrument's repeated error: the interval before and after."""
    found = []
    for name, (instrument, unit, verb, sides) in INSTRUMENTS.items():
        size = _sensitivity(evidence, name)
        if name not in posterior.errors or size == 0.0:
            continue
        column = posterior.shared.theta[:, posterior.errors.index(name)] * size
        weight = posterior.shared.weights
        mean = float(weight @ column)
        low, high = _interval(column, weight)
        before = Estimate(0.0, -COVERAGE_95 * size, COVERAGE_95 * size)
        after = Estimate(mean, low, high)
        found.append(Finding(instrument, unit, before, after, _finding(name, verb, sides, unit, before, after)))
    return tuple(found)


def _interval(column: Array, weight: Array) -> tuple[float, float]:
    """95 % interval of weighted samples (S,), as much outside at either end: an instrument's error has no edges, and the
    shortest interval of a few hundred samples seeks out their gaps.
    """
    order = np.argsort(column)
    reached = np.cumsum(weight[order]) - 0.5 * weight[order]
    low, high = np.interp([0.025, 0.975], reached, column[order])
    return float(low), float(high)


def _sensitivity(evidence: Evidence, name: str) -> float:
    if name == "pressure":
        return evidence.pressure_u
    for kind in evidence.measured():
        if name in kind.shared:
            felt = kind.shared[name][np.isfinite(kind.value)]
            if felt.size:
                return float(np.median(np.abs(felt)))
    return 0.0


def _finding(name: str, verb: str, sides: tuple[str, str], unit: str, before: Estimate, after: Estimate) -> str:
    scale, shown, digits = {"Pa": (1e-3, "kPa", 2), "kg/m3": (1e-3, "g/mL", 4), "K": (1.0, "K", 1)}.get(
        unit, (1.0, "", 4)
    )
    size = f"{abs(after.estimate) * scale:.{digits}f} {shown}".rstrip()
    known = f"± {before.high * scale:.{digits}f} {shown}".rstrip()
    low, high = (round(end * scale, digits) + 0.0 for end in (after.low, after.high))  # no minus before a zero
    span = f"{low:+.{digits}f} to {high:+.{digits}f} {shown}".rstrip()
    if after.low <= 0.0 <= after.high:
        return f"the {name} shows no error beyond what was stated (95 %: {span}; before the run {known})"
    side = sides[0] if after.estimate > 0 else sides[1]
    where = f"{side} what was entered" if name == "pressure" else side
    return f"the {name} {verb} {size} {where} (95 %: {span}; before the run {known})"


def not_tested(components: Sequence[str]) -> tuple[str, ...]:
    """What no reading of the run says anything of; water is, where the sheet names it."""
    return tuple(what for what in NOT_TESTED if what not in components)


def run_flags(
    run: Run, corrected: CorrectedRun, posterior: RunPosterior, closure: Closure, mixture: Mixture
) -> tuple[Flag, ...]:
    """Flags of the run as a whole."""
    found = [Flag("reading", text) for text in corrected.warnings]
    chance = posterior.consistency
    if chance < DOUBTFUL:
        grade = "at odds" if chance < AT_ODDS else "hard to reconcile"
        found.append(
            Flag(
                "readings_at_odds" if chance < AT_ODDS else "readings_doubtful",
                f"the readings are {grade}: {rarity(chance)}, where the stated uncertainties hold and nothing but the named "
                "components is there",
            )
        )
    if posterior.link_failed:
        found.append(
            Flag(
                "left_out",
                "no course of the distillation, or none that keeps to what was stated of the charge, was found near enough to "
                "the cuts' own readings; it was left out, and the intervals are the wider for it",
            )
        )
    found += _order_flags(corrected.evidence)
    found += _balance_flags(closure, mixture)
    if run.target is None:
        found.append(Flag("no_target", "no [target] is stated: compositions are given, no lot is chosen"))
    return tuple(found)


def _order_flags(evidence: Evidence) -> list[Flag]:
    """Cuts whose head lies far below that of the cut before: rows of a table that changed places, most often."""
    if evidence.balance is None or not evidence.balance.ordered:
        return []
    start, end = (kind.value[: evidence.cuts] - 273.15 for kind in (evidence.head_start, evidence.head_end))
    for k in np.flatnonzero(start[1:] < end[:-1] - FALLS).tolist():
        before, after = (f"{evidence.names[i]} ({start[i]:.1f}–{end[i]:.1f} °C)" for i in (k, k + 1))
        text = f"{before} stands before {after}: are the rows in the order in which the cuts were collected?"
        return [Flag("rows_out_of_order", text)]
    return []


def explanations(diagnosis: Diagnosis) -> tuple[Flag, ...]:
    """What may be behind readings that do not fit, most probable first, and what would tell."""
    faults = [cause for cause in diagnosis.causes if cause.codes != ("nothing wrong",)][:3]
    if not diagnosis.conflict or not faults:
        return ()
    tied = [cause for cause in faults if cause.tied]
    shown = tied if len(tied) > 1 else faults[:1]
    lead = "the readings cannot tell these apart: " if len(shown) > 1 else "most likely: "
    told = "; or ".join(f"{c.text.rstrip('.')} ({c.action.rstrip('.')})" for c in shown)
    found = [Flag("explanation", lead + told)]
    if diagnosis.tell_apart and (len(shown) > 1 or len(shown[0].codes) > 1):
        found.append(Flag("tell_apart", diagnosis.tell_apart))
    return tuple(found)


def _balance_flags(closure: Closure, mixture: Mixture) -> list[Flag]:
    if closure.loss_draws is None or closure.charge is None:
        return []
    low, high = np.quantile(closure.loss_draws, [0.025, 0.975])
    if high < 0.0:
        excess = -1e3 * float(closure.loss_draws.mean())
        return [
            Flag(
                "balance_over_100",
                f"{excess:.0f} g more came out than was charged ({100 * (1 + excess / 1e3 / closure.charge):.1f} %): "
                "look for a weighing error, a wet receiver or a cut entered twice",
            )
        ]
    loss = float(closure.loss_draws.mean())
    if low <= 0.0 or loss < LARGE_LOSS * closure.charge:
        return []
    lightest = int(np.argmin([s.boiling_point.value for s in mixture.substances]))
    name = mixture.names[lightest]
    recovered = float(closure.component_recovered[:, lightest].mean())
    whole = float(closure.component_recovered.sum(axis=1).mean())
    most = (recovered + loss) / (whole + loss)
    missing = "" if closure.residue is not None else " (no residue was entered)"
    evaporated = (
        f"; if all of it evaporated as {name}, the lightest, what was charged held up to {100 * most:.0f} wt% {name}"
        if most - recovered / whole > TOLD_LOSS
        else ""
    )
    return [
        Flag(
            "large_loss",
            f"{format_mass(loss)} of the charge ({100 * loss / closure.charge:.0f} %) is not accounted for{missing}{evaporated}",
        )
    ]


def discordant_cuts(posterior: RunPosterior) -> dict[int, float]:
    """Cuts whose own readings do not fit together, with the probability of readings as discordant."""
    limit = DOUBTFUL / max(len(posterior.names), 1)  # as many chances to stand out by accident as there are cuts
    chances = {
        k: chi_square_tail(max(round(freedom), 1), float(misfit))
        for k, (misfit, freedom) in enumerate(zip(posterior.cut_misfit, posterior.cut_freedom, strict=True))
    }
    return {k: chance for k, chance in chances.items() if chance < limit}


def cut_flags(
    run: Run, corrected: CorrectedRun, posterior: RunPosterior, masses: Masses, diagnosis: Diagnosis | None
) -> dict[int, tuple[Flag, ...]]:
    """Flags by number of the cut."""
    found: dict[int, list[Flag]] = {}
    for k, chance in discordant_cuts(posterior).items():
        found.setdefault(k, []).append(
            Flag("cut_discordant", f"the readings of this cut do not fit together: {rarity(chance, 'cut')}")
        )
    for check in () if diagnosis is None else diagnosis.readings:
        if check.stands_out and check.cut in run.cuts.names:
            found.setdefault(run.cuts.names.index(check.cut), []).append(Flag("reading_stands_out", check.text))
    width = (posterior.high - posterior.low).max(axis=1)
    for k in np.flatnonzero(width > WIDE).tolist():
        found.setdefault(k, []).append(Flag("wide", _wide(corrected, k)))
    for k in np.flatnonzero(masses.from_volume).tolist():
        whose = "its composition's" if np.isnan(corrected.evidence.density.value[k]) else "measured"
        text = f"mass from volume and {whose} density, not weighed"
        found.setdefault(k, []).append(Flag("mass_from_volume", text))
    return {k: tuple(flags) for k, flags in found.items()}


def _wide(corrected: CorrectedRun, k: int) -> str:
    if np.isnan(corrected.evidence.density.value[k]):
        return "the readings leave this cut's composition wide open; measure its density"
    return (
        "density and temperatures leave this cut's composition wide open: mixtures of these components share them; "
        "measure a refractive index, or have it analysed"
    )


def label(
    target: TargetEntry, assay: Estimate, lower: float, chance: float, corrected: CorrectedRun
) -> tuple[str, ...]:
    """What may honestly be written on the lot."""
    means = " and ".join(corrected.means) or "the stated readings"
    lines = [f"{target.component}, recovered by distillation"]
    least = f"at least {format_floor(lower)} {target.component}"
    if assay.high >= 1.0:  # an interval up to 100 % is a lower bound already: one bound, not two that differ
        lines.append(f"{least} by {means} with 95 % confidence (not by chromatography)")
    else:
        interval = format_interval(assay.estimate, assay.low, assay.high)
        lines.append(f"assay {interval} by {means} (95 % interval; not by chromatography)")
        lines.append(f"{least}, with 95 % confidence")
    if chance >= target.confidence:
        lines.append(f"meets {format_typed(target.purity)} (probability {format_probability(chance, spoken=True)})")
    return tuple(lines)


def no_lot(target: TargetEntry) -> tuple[str, ...]:
    """What is said when nothing can be kept."""
    return (
        f"no cut and no combination of cuts meets {format_typed(target.purity)} {target.component} with "
        f"{format_typed(target.confidence, '%')} probability; nothing may be labelled so",
    )
