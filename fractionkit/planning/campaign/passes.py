"""Simple distillation again and again in place of a column: each time the best cut goes into the next charge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.planning.campaign.still import charged
from fractionkit.planning.cutting.curve import Collected, collected
from fractionkit.planning.cutting.heart import best_heart
from fractionkit.planning.running_costs import course
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import built_in
from fractionkit.planning.trial import Wish, chance_margin, distilled, rates, stop_mass
from fractionkit.sheets.still_model import StillEntry

Array = NDArray[np.float64]

BENDS = (0.45, 0.6, 0.75, 0.9, 1.0, 1.15, 1.35, 1.7, 2.2)
"""Exponents of the ladders of intermediate purities that are tried; 1 climbs by equal steps of the logarithm of the odds."""

HALF = 0.5
"""Confidence asked of a cut that is distilled again: its purity is a step on the way, not a promise."""

MOST_PASSES = 6

LEAST_CHARGE = 0.05
"""Part of the first charge below which a cut is not worth a distillation of its own; common practice, no source."""


@dataclass(frozen=True)
class Passes:
    """The best of the ladders for one number of passes.

    aims : purity at which the cut of each pass was taken, the last one the target's. kept : (S,) kg, 0 where nothing
    meets it; assay, recovery : (S,), of the charge's target. meets : probability that it meets the purity. time, heat :
    (S,) s and J of all passes together, NaN where unknown; heating up is not counted.
    """

    passes: int
    aims: tuple[float, ...]
    kept: Array
    assay: Array
    recovery: Array
    meets: float
    time: Array
    heat: Array


Step = Callable[[Array, Sequence[float], float], tuple[Array, Array, Array, Array]]
"""From charges (G, S, n) kg, an aim for each of G and a confidence: kept (G, S, n) kg, meets (G,), time, heat (G, S)."""


def repeat(charge: Array, step: Step, passes: int, component: int, purity: float, confidence: float) -> Passes:
    """Distil ``charge`` (S, n) kg ``passes`` times, the cut of each pass being the next charge.

    How pure a cut has to be before it is worth distilling again is a choice: ladders of intermediate purities between
    the charge's and the target's are tried together, and the one that keeps most is taken.

    Raises
    ------
    InputError
        for a number of passes below 1 or above `MOST_PASSES`.
    """
    if isinstance(passes, bool) or not 1 <= passes <= MOST_PASSES:
        raise InputError(Fault(str(passes), f"1 to {MOST_PASSES} passes", column="passes"))
    start = float((charge[:, component] / charge.sum(axis=1)).mean())
    ladders = _ladders(start, purity, passes)
    G, S = len(ladders), len(charge)
    pot = np.broadcast_to(charge, (G, *charge.shape)).copy()
    meets, time, heat = np.zeros(G), np.zeros((G, S)), np.zeros((G, S))
    for k in range(passes):
        sure = confidence if k == passes - 1 else HALF
        alive = np.flatnonzero((pot.sum(axis=-1) > 0.0).any(axis=1))
        left = np.zeros_like(pot)
        meets = np.zeros(G)
        if alive.size:
            made = step(pot[alive], [ladders[g][k] for g in alive], sure)
            left[alive], meets[alive] = made[0], made[1]
            time[alive] += made[2]
            heat[alive] += made[3]
        pot = left
    best = int(pot.sum(axis=-1).mean(axis=1).argmax())
    kept = pot[best].sum(axis=-1)
    held = pot[best][:, component]
    return Passes(
        passes=passes,
        aims=ladders[best],
        kept=kept,
        assay=held / np.maximum(kept, 1e-300),
        recovery=held / np.maximum(charge[:, component], 1e-300),
        meets=float(meets[best]),
        time=time[best],
        heat=heat[best],
    )


def _ladders(start: float, purity: float, passes: int) -> list[tuple[float, ...]]:
    """Purities of the passes, one ladder for each of `BENDS`; a single pass has only one."""
    low, high = (float(np.log(p / (1.0 - p))) for p in np.clip([min(start, 0.98 * purity), purity], 1e-9, 1.0 - 1e-12))
    if passes == 1:
        return [(purity,)]
    steps = np.arange(1, passes) / passes
    odds = [low + (high - low) * steps**bend for bend in BENDS]
    return [(*(float(p) for p in 1.0 / (1.0 + np.exp(-rungs))), purity) for rungs in odds]


def cut(
    curve: Collected,
    charge: Array,
    component: int,
    aims: Sequence[float],
    confidence: float,
    enough: NDArray[np.bool_] | None = None,
) -> tuple[Array, Array]:
    """Best cut of each of G charges (G, S, n), whose scenarios stand one after the other in ``curve``: kg, meets.

    ``enough`` (G, S) says which scenarios had a charge worth distilling; the others keep nothing.
    """
    G, S, n = charge.shape
    kept, meets = np.zeros((G, S, n)), np.zeros(G)
    for g in range(G):  # ladders, a handful
        here = np.arange(S) if enough is None else np.flatnonzero(enough[g])
        if len(here) < confidence * S or not len(here):
            continue
        own = curve.take(g * S + here)
        heart = best_heart(own, component, aims[g], min(confidence * S / len(here), 1.0), nodes=48)
        if heart is not None:
            over = own.at_mass(heart.masses)
            kept[g, here], meets[g] = over[:, 1] - over[:, 0], heart.probability * len(here) / S
    return kept, meets


def simple_step(scenarios: Scenarios, still: StillEntry) -> Step:
    """One simple distillation, with the still head of the built-in table."""
    wish = Wish(built_in()["still-head"], 0.0)
    feed = scenarios.feed.mass[:, None] * scenarios.feed.w
    least = LEAST_CHARGE * feed.sum(axis=-1)

    def step(charge: Array, aims: Sequence[float], confidence: float) -> tuple[Array, Array, Array, Array]:
        enough = charge.sum(axis=-1) > least
        many = charged(scenarios, np.where(enough[..., None], charge, feed))
        made = distilled(many, [wish], still)[0]
        times = course(made, rates(many, wish.setup, still))
        curve = collected(made, reading_error=many.reading, stop=stop_mass(times, still))
        kept, meets = cut(curve, charge, scenarios.component, aims, confidence, enough)
        time, heat = (np.where(enough, values.reshape(enough.shape), 0.0) for values in times.at(curve.end))
        return kept, meets, time, heat

    return step


def repeated(scenarios: Scenarios, still: StillEntry, most: int = 3) -> tuple[Passes, ...]:
    """One, two, ... ``most`` simple distillations of a plan's feed, to hold against its columns."""
    target, margin = scenarios.feed.target, chance_margin(scenarios.feed.target.confidence, scenarios.count)
    charge = scenarios.feed.mass[:, None] * scenarios.feed.w
    step = simple_step(scenarios, still)
    found = [
        repeat(charge, step, k, scenarios.component, target.purity, target.confidence + margin)
        for k in range(1, most + 1)
    ]
    return tuple(replace(made, meets=max(made.meets - margin, 0.0)) for made in found)
