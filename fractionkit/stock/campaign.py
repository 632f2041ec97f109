"""Yield of a campaign: what was charged and charged again, what of it was kept, what stands, what is gone.

Everything that came out of a run is somewhere: in a lot, sold or used, standing, waste, lost, or distilled again. What was
distilled again is not counted twice, so that fresh charge + found by weighing = kept + standing + waste + loss, to the
microgram.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Estimate
from fractionkit.stock import composition
from fractionkit.stock.draft import FOUND, LOSS, SUPPLY, WASTE
from fractionkit.stock.ledger import MICROGRAMS, Content, Ledger, State
from fractionkit.stock.rows import Batch

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RunYield:
    """One run, kg: charged fresh and out of bottles, what came out by decision, residue, loss."""

    run: str
    title: str
    day: str | None
    fresh: float
    recycled: float
    cuts: dict[str, float]
    residue: float
    loss: float


@dataclass(frozen=True)
class Campaign:
    """All runs together, kg. fresh + found = in_lots + left + to_keep + standing + waste + loss, exactly.

    fresh : charged from outside. found : what weighings found more than was booked.
    in_lots : stands in lots; left : sold or used; to_keep : cuts judged "keep" that are in no lot yet; standing : everything
    else on the shelf that came out of a run, residues too; recycled : distilled again.
    kept_share : kept / fresh. target, target_share : component wanted, and how much of what was charged of it was kept.
    """

    runs: tuple[RunYield, ...]
    fresh: float
    found: float
    recycled: float
    in_lots: float
    left: float
    to_keep: float
    standing: float
    waste: float
    loss: float
    target: str | None
    target_share: Estimate | None

    @property
    def kept(self) -> float:
        """What the campaign gave, kg."""
        return self.in_lots + self.left + self.to_keep

    @property
    def kept_share(self) -> float:
        """Kept of what was charged fresh."""
        return self.kept / self.fresh if self.fresh else 0.0


def campaign(ledger: Ledger) -> Campaign:
    """Yield of all runs that hold."""
    state = ledger.state()
    held = {entry.booking.id for entry in ledger.holding}
    batches = [batch for batch in ledger.batches.values() if batch.booking in held]
    parts, kept = _whereabouts(ledger, state)
    fresh = _fresh(ledger, state)
    targets = {batch.target for batch in batches}
    target = targets.pop() if len(targets) == 1 else None
    return Campaign(
        runs=tuple(_run(ledger, batch) for batch in batches),
        fresh=sum(fresh.values()) / MICROGRAMS,
        found=sum(amount for key, amount in state.found.items() if ledger.born(key)) / MICROGRAMS,
        recycled=_recycled(ledger, state) / MICROGRAMS,
        **{name: amount / MICROGRAMS for name, amount in parts.items()},
        target=target,
        target_share=None if target is None else _share(ledger, kept, fresh, target),
    )


def _whereabouts(ledger: Ledger, state: State) -> tuple[dict[str, int], Content]:
    """Micrograms of what came out of runs, by where it is; and of each material how much was kept."""
    decisions = {place.name: place.decision for place in ledger.places.values()}
    parts = dict.fromkeys(("in_lots", "left", "to_keep", "standing", "waste", "loss"), 0)
    kept: Content = {}
    for place, content in state.content.items():
        kind = ledger.places[place].kind
        for key, amount in content.items():
            if not ledger.born(key):
                continue
            if place in (WASTE, LOSS):
                where = "waste" if place == WASTE else "loss"
            elif kind in ("lot", "gone"):
                where = "in_lots" if kind == "lot" else "left"
            else:
                where = "to_keep" if decisions.get(ledger.origins[key].name) == "keep" else "standing"
            parts[where] += amount
            if where in ("in_lots", "left", "to_keep"):
                kept[key] = kept.get(key, 0) + amount
    return parts, kept


def _fresh(ledger: Ledger, state: State) -> Content:
    """Materials that went into pots and came out of no run."""
    fresh: Content = {}
    for content in state.distilled.values():
        for key, amount in content.items():
            if not ledger.born(key):
                fresh[key] = fresh.get(key, 0) + amount
    return fresh


def _recycled(ledger: Ledger, state: State) -> int:
    return sum(amount for content in state.distilled.values() for key, amount in content.items() if ledger.born(key))


def _share(ledger: Ledger, kept: Content, fresh: Content, target: str) -> Estimate | None:
    """How much of the target that was charged fresh was kept; its draws are those of the whole shelf."""
    charged = _amount(ledger, fresh, target)
    if not (charged > 0).all():
        return None
    draws = _amount(ledger, kept, target) / charged
    low, high = np.quantile(draws, [0.025, 0.975])
    return Estimate(float(draws.mean()), float(low), float(high))


def _amount(ledger: Ledger, content: Content, target: str) -> Array:
    """Mass (DRAWS,) of one component, in micrograms."""
    total = np.zeros(composition.DRAWS)
    for key, amount in content.items():  # materials, not draws
        known = composition.known(ledger.origins[key])
        if target in known.components:
            total += amount * known.draws[:, known.components.index(target)]
    return total


def _run(ledger: Ledger, batch: Batch) -> RunYield:
    """What went into one run and came out of it, as it was booked."""
    entry = ledger.entries[batch.booking - 1]
    places = ledger.places
    ends = [(places[m.source], places[m.target], m.mass / MICROGRAMS) for m in entry.movements]
    cuts: dict[str, float] = {}
    for _, target, mass in ends:
        if target.kind == "cut" and target.decision is not None:
            cuts[target.decision] = cuts.get(target.decision, 0.0) + mass
    return RunYield(
        run=batch.name,
        title=batch.title,
        day=batch.day,
        fresh=sum(mass for source, _, mass in ends if source.id == SUPPLY),
        recycled=sum(mass for source, target, mass in ends if target.kind == "run" and source.kind != "outside"),
        cuts=cuts,
        residue=sum(mass for _, target, mass in ends if target.kind == "residue"),
        loss=sum(mass for _, target, mass in ends if target.id == LOSS)
        - sum(mass for source, _, mass in ends if source.id == FOUND),
    )
