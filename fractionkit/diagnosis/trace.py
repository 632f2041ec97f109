"""How a component that the sheet does not name runs through the cuts.

Within a cut the distillate keeps the ratio of the run's own components; its content c of the foreign component follows
from the content p of the pot. Stage by stage down the column, from the distillate y_D,

    x_j = liquid in equilibrium with y_j,    y_{j+1} = (R x_j + y_D)/(R + 1),    p = content of the last x_j

(McCabe & Thiele, Ind. Eng. Chem. 17 (1925) 605, reflux ratio R by mass). The amount A left in the pot of mass W then
falls as dA/dW = c(A/W) (Rayleigh, Phil. Mag. 4 (1902) 521); c(p) bends where an azeotrope is near, so A is followed in
steps, for many amounts at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.ground import Ground

Array = NDArray[np.float64]

HELD_BACK = 0.1  # share of the charge left in the pot, where the sheet has no masses to say
AMOUNTS = np.geomspace(2e-4, 0.5, 20)  # of the component, parts of the charge
LEAST, MOST = 1e-12, 0.9  # content of a cut
STEPS = 6  # in each cut
POT_GRID = np.linspace(-20.0, -0.1, 80)  # ln of the pot's content


@dataclass(frozen=True)
class Trace:
    """Content of every vessel by the amount charged: ln content (A, K) at `AMOUNTS`; (1, 1) where all hold the same."""

    log_content: Array

    def content(self, amount: float) -> Array:
        """(K,) mass fractions for an amount in parts of the charge; in proportion below the least amount tabulated."""
        if amount <= 0.0:
            return np.zeros(self.log_content.shape[1])
        if len(self.log_content) == 1:
            return np.asarray(np.minimum(amount * np.exp(self.log_content[0]), MOST))
        place = np.log(amount / AMOUNTS[0]) / np.log(AMOUNTS[1] / AMOUNTS[0])
        cell = int(np.clip(place, 0, len(AMOUNTS) - 2))
        share = min(place - cell, 1.0)
        if place < 0.0:
            return np.asarray(np.exp(self.log_content[0]) * amount / AMOUNTS[0])
        return np.asarray(np.exp((1.0 - share) * self.log_content[cell] + share * self.log_content[cell + 1]))


@dataclass(frozen=True)
class Masses:
    """What the pot held: taken (K,) kg in each cut, with those of a long run that no cut stands for; held : kg left."""

    taken: Array
    held: float

    @classmethod
    def of(cls, base: Ground) -> Masses:
        """From the sheet's masses; a cut of unknown mass counts as the mean one."""
        cuts = base.evidence.cuts
        known = np.isfinite(base.mass[:cuts])
        mass = np.where(known, base.mass[:cuts], base.mass[:cuts][known].mean() if known.any() else 1.0)
        taken = np.diff(base.chosen[:cuts], append=base.chosen[cuts - 1] + 1) * mass
        held = float(base.mass[cuts]) if base.evidence.residue and np.isfinite(base.mass[cuts]) else 0.0
        return cls(taken, held or HELD_BACK / (1.0 - HELD_BACK) * float(taken.sum()))


def traces(base: Ground, levels: Array, pot: Array) -> list[Trace]:
    """One trace for each of V pairs of a component and a still.

    levels : (L,) contents of the distillate; pot : (V, C, L) content of the pot that gives them, cut by cut.
    """
    masses = Masses.of(base)
    table = _by_pot(levels, pot)
    whole = masses.held + float(masses.taken.sum())
    amount = np.broadcast_to(AMOUNTS * whole, (len(pot), len(AMOUNTS))).copy()
    left, content = whole, np.empty((len(pot), len(AMOUNTS), base.evidence.size))
    for k, taken in enumerate(masses.taken):
        before = amount
        for _ in range(STEPS):
            after = left - taken / STEPS
            halfway = amount * (0.5 * (left + after) / left) ** _ratio(table[:, k], amount / left)
            amount = amount * (after / left) ** _ratio(table[:, k], halfway / (0.5 * (left + after)))
            left = after
        content[..., k] = (before - amount) / taken
    cuts = base.evidence.cuts
    if base.evidence.residue:
        content[..., cuts] = amount / masses.held
    if base.evidence.charge:
        content[..., -1] = AMOUNTS
    logs = np.log(np.clip(content, LEAST, MOST))
    return [Trace(one) for one in logs]


def _by_pot(levels: Array, pot: Array) -> Array:
    """(V, C, P) ln(c/p) at `POT_GRID`, constant below the least level."""
    rising = np.maximum.accumulate(np.log(np.clip(pot, 1e-300, None)), axis=-1)
    rising = rising + 1e-9 * np.arange(len(levels))
    found = np.empty((*pot.shape[:2], len(POT_GRID)))
    logs = np.log(levels)
    for v, k in np.ndindex(*pot.shape[:2]):
        found[v, k] = np.interp(POT_GRID, rising[v, k], logs) + np.minimum(POT_GRID - rising[v, k, 0], 0.0)
    return np.asarray(found - POT_GRID)


def _ratio(table: Array, content: Array) -> Array:
    """c/p (V, A) at the pot's content (V, A)."""
    position = (np.log(np.maximum(content, LEAST)) - POT_GRID[0]) / (POT_GRID[1] - POT_GRID[0])
    position = np.clip(position, 0.0, len(POT_GRID) - 1.001)
    cell = position.astype(np.intp)
    share = position - cell
    low = np.take_along_axis(table, cell, axis=1)
    high = np.take_along_axis(table, cell + 1, axis=1)
    return np.asarray(np.exp((1.0 - share) * low + share * high))
