"""Which measurement next: what each would do for the lot's assay and for the decision, the most useful first."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence, RunPosterior
from fractionkit.lots import choose, meets
from fractionkit.measurements.offers import Cost, Offer, offers
from fractionkit.measurements.preposterior import Candidate, Expected, expect
from fractionkit.measurements.world import World
from fractionkit.mixture import Mixture
from fractionkit.quantities import decimals_of
from fractionkit.sheets import Run, TargetEntry

Array = NDArray[np.float64]

MOST_CUTS = 10  # at stake: those of the lot and those that could join it
MOST_LOTS = 24
POSSIBLE = 0.02  # probability below which a lot is not looked at
MOST_TOLD = 4
WORTH_TELLING, LIKELY = 0.05, 0.02  # share by which the interval shrinks, and chance of another decision
HOPELESS = 1e-3  # probability below which a cut is not at stake


@dataclass(frozen=True)
class NextMeasurement:
    """One measurement that could be made.

    what, cost : in words; ``cost`` says what it takes: "minutes", "balance" or "instrument". cut : its name where one
    cut is measured. half_width_now, half_width_expected : of the 95 % interval of the assay of the lot (of the best cut where
    no lot stands), mass fraction. chance_changes_decision : probability that other cuts are kept afterwards. text : a
    sentence.
    """

    what: str
    cost: Cost
    cut: str | None
    half_width_now: float
    half_width_expected: float
    chance_changes_decision: float
    text: str


def next_measurements(
    run: Run, mixture: Mixture, evidence: Evidence, posterior: RunPosterior, mass: Array | None = None
) -> tuple[NextMeasurement, ...]:
    """Rank the measurements that the run lacks; empty where the sheet states no target.

    Parameters
    ----------
    run, mixture, evidence, posterior
        The run and what was made of it by `fractionkit.composition.correct` and `fit_evidence`.
    mass
        (K,) kg of the cuts, the weighed masses when None; a cut of unknown mass is not at stake.

    """
    if run.target is None:
        return ()
    mass = run.cuts.mass if mass is None else mass
    found = weighed(run.target, mixture, evidence, posterior, mass)
    best_first = sorted(found, key=lambda pair: (-round(score(pair[1]), 6), pair[0].what))
    return tuple(_judged(offer, expected, evidence) for offer, expected in best_first)


def told(found: tuple[NextMeasurement, ...]) -> tuple[str, ...]:
    """What is worth saying, the most useful first: sentences of a few measurements, or one that none would do much."""
    if not found:
        return ()
    useful = [
        one
        for one in found
        if one.half_width_expected < (1.0 - WORTH_TELLING) * one.half_width_now or one.chance_changes_decision > LIKELY
    ]
    nothing = "No further measurement of the usual kind would narrow the assay by as much as a twentieth."
    return tuple(one.text for one in useful[:MOST_TOLD]) or (nothing,)


def weighed(
    wanted: TargetEntry, mixture: Mixture, evidence: Evidence, posterior: RunPosterior, mass: Array
) -> list[tuple[Offer, Expected]]:
    """What could be measured and what each would do, in no order. mass : (K,) kg."""
    target = mixture.names.index(wanted.component)
    kept = choose(mass, posterior.draws[..., target], wanted.purity, wanted.confidence)
    world = World.of(mixture, evidence, posterior)
    w = world.w[..., target]
    stake = _at_stake(w, mass, kept, wanted.purity)
    if not stake.size:
        return []
    lot = lot_of(kept, stake, w)
    lots = _candidates(w, mass, stake, kept, wanted.purity, wanted.confidence)
    assay = (w[:, lot] * mass[lot]).sum(axis=1) / mass[lot].sum()
    stakes = np.column_stack([assay, _marginal(lots)])
    uncertain = stake[np.argsort(-w[:, stake].std(axis=0) * mass[stake], kind="stable")]
    return [(offer, expect(stakes, offer.reading, offer.noise, lots)) for offer in offers(world, stake, uncertain)]


def lot_of(kept: NDArray[np.bool_], stake: NDArray[np.intp], w: Array) -> NDArray[np.intp]:
    """Numbers of the cuts whose assay is told: the lot, or the best cut at stake where no lot stands. w : (D, K)."""
    return np.flatnonzero(kept) if kept.any() else stake[[int(np.argmax(w[:, stake].mean(axis=0)))]]


def score(expected: Expected) -> float:
    """What a measurement is ranked by: the share by which the interval shrinks and the chance of another decision, added."""
    after = min(expected.after, expected.now)
    return 1.0 - after / max(expected.now, 1e-12) + expected.changes


def _at_stake(w: Array, mass: Array, kept: NDArray[np.bool_], purity: float) -> NDArray[np.intp]:
    """Cuts of the lot and those that may join it, in the order of the sheet; the purest where there are too many."""
    known = np.isfinite(mass) & (mass > 0.0)
    alone = meets(w - purity)
    candidate = known & (kept | (alone > HOPELESS))
    if not candidate.any() and known.any():  # nothing near the target: the richest cut is asked about
        candidate = np.zeros_like(known)
        candidate[int(np.argmax(np.where(known, w.mean(axis=0), -1.0)))] = True
    chosen = np.flatnonzero(candidate)
    # a mixed lot may carry a cut that could not stand alone: the next purest one is at stake as well
    rest = np.setdiff1d(np.flatnonzero(known), chosen)
    if rest.size and kept.any():
        chosen = np.append(chosen, rest[int(np.argmax(w[:, rest].mean(axis=0)))])
    # too many: those about the border of the lot, the least pure of its cuts and the purest of the others, are open
    purest_first = chosen[np.argsort(-w[:, chosen].mean(axis=0), kind="stable")]
    border = int(kept[purest_first].sum()) - 0.5
    nearest = np.argsort(np.abs(np.arange(len(chosen)) - border), kind="stable")[:MOST_CUTS]
    return np.sort(purest_first[nearest])


def _candidates(
    w: Array, mass: Array, stake: NDArray[np.intp], kept: NDArray[np.bool_], purity: float, confidence: float
) -> Candidate:
    """All lots of the cuts at stake that differ from the kept one in up to three cuts, and that one."""
    base = kept[stake].astype(int)
    sets = (np.arange(1 << len(stake))[:, None] >> np.arange(len(stake))) & 1
    near = (np.abs(sets - base).sum(axis=1) <= 3) & sets.any(axis=1)
    sets = sets[near].astype(float)
    rest = np.setdiff1d(np.flatnonzero(kept), stake)  # kept in any case: too many cuts to ask about each
    surplus = ((w[:, stake] - purity) * mass[stake]) @ sets.T + ((w[:, rest] - purity) @ mass[rest])[:, None]
    weight, chance = sets @ mass[stake] + mass[rest].sum(), meets(surplus)
    # those that a reading could make the choice: few others are both heavier and surer
    open_ = np.flatnonzero(chance > POSSIBLE)
    heavier, surer = (value[open_] > value[open_][:, None] for value in (weight, chance))
    better = (
        heavier & (chance[open_] >= chance[open_][:, None]) | surer & (weight[open_] >= weight[open_][:, None])
    ).sum(axis=1)
    taken = np.sort(open_[np.argsort(better, kind="stable")[:MOST_LOTS]])
    if not taken.size:
        taken = np.array([int(np.argmax(chance))])
    lots = Candidate(surplus[:, taken], weight[taken], -1, confidence)
    return replace(lots, current=int(lots.heaviest(chance[None, taken])[0]))


def _marginal(lots: Candidate) -> Array:
    """Surplus (D,) of the heaviest lot that is not kept and has a fair chance; the kept one's where there is none."""
    chance = meets(lots.surplus)
    open_ = (chance > POSSIBLE) & (chance < lots.confidence)
    if open_.any():
        return lots.surplus[:, int(np.argmax(np.where(open_, lots.mass, -np.inf)))]
    return lots.surplus[:, max(lots.current, 0)]


def _judged(offer: Offer, expected: Expected, evidence: Evidence) -> NextMeasurement:
    after = min(expected.after, expected.now)
    gain = 0.0 if expected.now <= 0.0 else 1.0 - after / expected.now
    changes = round(100.0 * expected.changes)
    decision = f"; in {changes} of 100 cases it would change which cuts are kept" if changes else ""
    decimals = decimals_of(100.0 * expected.now)
    now, then = (f"± {100.0 * half:.{decimals}f}" for half in (expected.now, after))
    shrinks = (
        f"the assay's {now} wt% would become {then} wt% ({100.0 * gain:.0f} % narrower)"
        if then != now
        else f"the assay's {now} wt% would hardly become narrower"
    )
    text = f"{offer.what[:1].upper()}{offer.what[1:]} ({offer.cost}): {shrinks}{decision}."
    cut = evidence.names[offer.cuts[0]] if len(offer.cuts) == 1 else None
    return NextMeasurement(offer.what, offer.cost, cut, expected.now, after, expected.changes, text)
