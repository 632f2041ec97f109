"""What it would take for a cut that no lot takes: more of a purer one, a higher assay, or a smaller uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fractionkit.lots.combine import Combination, Wanted
from fractionkit.lots.second_order import Array
from fractionkit.quantities import COVERAGE_95

DONORS = 3  # purest materials tried as what makes up for it
MOST_TIMES = 1e3  # a material that would be needed in more than so many times the cut's mass is no help
HALVINGS = 40


@dataclass(frozen=True)
class Takes:
    """What it would take for one material to go into one lot as a whole.

    lot : its number. left : kg that no lot takes. chance : that it holds the purity alone. donor : number of the
    material that makes up for it with the least mass, ``more`` (kg) of it beyond what the lot has; None where none does.
    assay : its mean mass fraction of the target; assay_needed : what that had to be, as surely as it is known now.
    half_width : 95 % half-width of its assay; half_width_needed : that at which it would do as it is, None where its
    best estimate falls short.
    """

    lot: int
    left: float
    chance: float
    donor: int | None
    more: float
    assay: float
    assay_needed: float
    half_width: float
    half_width_needed: float | None


def takes(made: Combination, place: int) -> Takes:
    """What it would take for material number ``place``, held against the lot that it comes nearest to."""
    chances = [float((above[:, place] >= 0.0).mean()) for above in made.above]
    means = [float(above[:, place].mean()) for above in made.above]
    lot = max(range(len(means)), key=lambda number: (chances[number], means[number]))
    want = made.wanted[lot]
    w = made.above[lot][:, place] + want.limit
    left = float(made.left[place])
    donor, more = _donor(made, place, lot, left)
    mean, sure = float(w.mean()), _assured(w, want)
    half = COVERAGE_95 * float(w.std())
    above = mean - want.limit
    needed = half * above / (mean - sure) if above > 0.0 and mean > sure else None
    return Takes(lot, left, chances[lot], donor, more, mean, mean + want.limit - sure, half, needed)


def _assured(assay: Array, want: Wanted) -> float:
    """What the rule looks at: the one-sided lower bound, or the mean where it does not guard. assay : (D,)."""
    return float(_judged(assay[:, None], want)[0])


def _judged(total: Array, want: Wanted) -> Array:
    """The same of each column of (D, m)."""
    if want.rule != "guarded":
        return np.asarray(total.mean(axis=0))
    rank = min(int(np.floor(len(total) * (1.0 - want.confidence) + 1e-9)), len(total) - 1)
    return np.asarray(np.partition(total, rank, axis=0)[rank])


def _donor(made: Combination, place: int, lot: int, left: float) -> tuple[int | None, float]:
    """The material of which least must be added to the lot so that it bears the rest of ``place``, and how much, kg."""
    want = made.wanted[lot]
    above = made.above[lot]
    level = made.level[lot]
    purer = [j for j in np.argsort(-level, kind="stable").tolist() if level[j] > max(level[place], 0.0) and j != place]
    donors = purer[:DONORS]
    if not donors:
        return None, np.inf
    base = made.surplus[lot] + left * above[:, place]
    low, high = np.zeros(len(donors)), np.full(len(donors), MOST_TIMES * left)
    able = _judged(base[:, None] + high * above[:, donors], want) >= 0.0
    if not able.any():
        return None, np.inf
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        enough = _judged(base[:, None] + middle * above[:, donors], want) >= 0.0
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    best = int(np.argmin(np.where(able, high, np.inf)))
    return donors[best], float(high[best])
