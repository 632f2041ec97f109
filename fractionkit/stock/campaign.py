"""Yield of a campaign: what was charged and charged again, what of it was kept, what stands, what is gone.

Everything that came out of a run is somewhere: in a lot, sold or used, standing, waste, lost, or distilled again. What was
distilled again within the campaign is not counted twice, so that what came into it is what it gave, what stands and what
is gone, to the microgram.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fractionkit.quantities import Estimate
from fractionkit.stock.composition import DRAWS
from fractionkit.stock.draft import FOUND, LOSS, SUPPLY, WASTE
from fractionkit.stock.ledger import MICROGRAMS, Content, Ledger, State, pooled
from fractionkit.stock.rows import Batch
from fractionkit.stock.shelf import component_masses
from fractionkit.stock.text import find


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
    """Runs together, kg. fresh + before + found = in_lots + left + to_keep + standing + waste + loss + later, exactly.

    fresh : charged from outside. before : charged out of other runs' cuts. found : what weighings found more than was
    booked. later : distilled again in other runs.
    in_lots : stands in lots; left : sold or used; to_keep : cuts judged "keep" that are in no lot yet; standing : everything
    else on the shelf that came out of these runs, residues too; recycled : distilled again in them.
    shares : component -> how much of what was charged of it is in what was kept, the components wanted first.
    """

    runs: tuple[RunYield, ...]
    fresh: float
    before: float
    found: float
    recycled: float
    later: float
    in_lots: float
    left: float
    to_keep: float
    standing: float
    waste: float
    loss: float
    shares: dict[str, Estimate]

    @property
    def kept(self) -> float:
        """What the campaign gave, kg."""
        return self.in_lots + self.left + self.to_keep

    @property
    def kept_share(self) -> float:
        """Kept of what came into the campaign."""
        came = self.fresh + self.before
        return self.kept / came if came else 0.0


def campaign(ledger: Ledger, names: Sequence[str] = ()) -> Campaign:
    """Yield of the runs called so (R1, R2 and so on), of all where none is named.

    Raises
    ------
    InputError
        where there is no such run.
    """
    state = ledger.state()
    batches = _chosen(ledger, names)
    mine = {key for key, origin in ledger.origins.items() if origin.batch in {batch.id for batch in batches}}
    pots = {
        place.id for place in ledger.places.values() if place.kind == "run" and place.batch in {b.id for b in batches}
    }
    parts, kept = _whereabouts(ledger, state, mine)
    inside = pooled(content for pot, content in state.distilled.items() if pot in pots)
    outside = pooled(content for pot, content in state.distilled.items() if pot not in pots)
    charged = {key: amount for key, amount in inside.items() if key not in mine}
    wanted = [batch.target for batch in batches if batch.target is not None]
    return Campaign(
        runs=tuple(_run(ledger, batch) for batch in batches),
        fresh=_sum(charged, lambda key: not ledger.born(key)),
        before=_sum(charged, ledger.born),
        found=_sum(state.found, mine.__contains__),
        recycled=_sum(inside, mine.__contains__),
        later=_sum(outside, mine.__contains__),
        **{name: amount / MICROGRAMS for name, amount in parts.items()},
        shares=_shares(ledger, kept, charged, wanted),
    )


def _chosen(ledger: Ledger, names: Sequence[str]) -> list[Batch]:
    held = {entry.booking.id for entry in ledger.holding}
    batches = [batch for batch in ledger.batches.values() if batch.booking in held]
    if not names:
        return batches
    known = {batch.name: batch.id for batch in batches}
    chosen = {find(name, known, "run") for name in names}
    return [batch for batch in batches if batch.id in chosen]


def _sum(content: Content, counts: Callable[[int], bool]) -> float:
    """The materials that count, kg."""
    return sum(amount for key, amount in content.items() if counts(key)) / MICROGRAMS


def _whereabouts(ledger: Ledger, state: State, mine: Collection[int]) -> tuple[dict[str, int], Content]:
    """Micrograms of the materials that are ``mine``, by where they are; and of each how much was kept."""
    decisions = {place.name: place.decision for place in ledger.places.values()}
    parts = dict.fromkeys(("in_lots", "left", "to_keep", "standing", "waste", "loss"), 0)
    kept: Content = {}
    for place, content in state.content.items():
        kind = ledger.places[place].kind
        for key, amount in content.items():
            if key not in mine:
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


def _shares(ledger: Ledger, kept: Content, charged: Content, wanted: Sequence[str]) -> dict[str, Estimate]:
    """How much of each component that was charged was kept; draws are those of the whole shelf."""
    there, had = component_masses(ledger, charged), component_masses(ledger, kept)
    shares = {}
    for name in dict.fromkeys([*wanted, *there]):
        if name not in there or not (there[name] > 0).all():
            continue
        draws = had.get(name, np.zeros(DRAWS)) / there[name]
        low, high = np.quantile(draws, [0.025, 0.975])
        shares[name] = Estimate(float(draws.mean()), float(low), float(high))
    return shares


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
