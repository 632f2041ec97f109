"""Lineage both ways: what is in this bottle, and where did that cut go; through pours and through distilling again."""

from __future__ import annotations

from dataclasses import dataclass

from fractionkit.stock.ledger import MICROGRAMS, Content, Ledger, State, play
from fractionkit.stock.rows import STANDING, Kind
from fractionkit.stock.shelf import run_title


@dataclass(frozen=True)
class Link:
    """One step: a material, a place or a distillation. mass : kg; share : of the whole one step up, 0 to 1.

    what : "cut", "bottle", "lot", "residue", "gone", "outside" or "run".
    """

    name: str
    what: Kind
    title: str
    mass: float
    share: float
    links: tuple[Link, ...] = ()


def back(ledger: Ledger, place: int) -> tuple[Link, ...]:
    """What is in a place: its materials, and what the runs that they come from were charged with."""
    state = ledger.state()
    return _materials(ledger, state, state.content.get(place, {}), set())


def _materials(ledger: Ledger, state: State, content: Content, told: set[int]) -> tuple[Link, ...]:
    """Materials of a content, the largest first; the charge of a run is told once, at its first material."""
    total = sum(content.values())
    ordered = sorted(content.items(), key=lambda item: (-item[1], item[0]))
    first: dict[int, int] = {}  # run -> its largest material here
    for key, _ in ordered:
        batch = ledger.origins[key].batch
        if batch is not None and batch not in told:
            first.setdefault(batch, key)
    told |= set(first)
    links = []
    for key, amount in ordered:
        origin = ledger.origins[key]
        leads_on = origin.batch is not None and first.get(origin.batch) == key
        charge = state.distilled.get(_pot(ledger, origin.batch), {}) if leads_on and origin.batch else {}
        links.append(
            Link(
                origin.name,
                "cut" if ledger.born(key) else "outside",
                run_title(ledger, origin),
                amount / MICROGRAMS,
                amount / total,
                _materials(ledger, state, charge, told),
            )
        )
    return tuple(links)


def _pot(ledger: Ledger, batch: int) -> int:
    return next(place.id for place in ledger.places.values() if place.kind == "run" and place.batch == batch)


def forth(ledger: Ledger, place: int) -> tuple[Link, ...]:
    """Where what was in a place is now; what was distilled again leads on to what came out of that run."""
    return _gone_to(ledger, frozenset({place}), set())


def _gone_to(ledger: Ledger, dyed: frozenset[int], told: set[int]) -> tuple[Link, ...]:
    state = play(ledger.holding, ledger.places, dyed)
    places = {place: _dyed(content) for place, content in state.content.items()}
    runs = {place: _dyed(content) for place, content in state.distilled.items()}
    total = sum(places.values()) + sum(runs.values())
    links = []
    for place, amount in sorted({**places, **runs}.items(), key=lambda item: (-item[1], item[0])):
        if not amount:
            continue
        found = ledger.places[place]
        further: tuple[Link, ...] = ()
        if found.kind == "run" and place not in told:
            told.add(place)
            further = _gone_to(ledger, _products(ledger, found.batch), told)
        links.append(Link(found.name, found.kind, found.title, amount / MICROGRAMS, amount / total, further))
    return tuple(links)


def _dyed(content: Content) -> int:
    return sum(amount for key, amount in content.items() if key < 0)


def _products(ledger: Ledger, batch: int | None) -> frozenset[int]:
    """Cuts and residue of a run."""
    return frozenset(p.id for p in ledger.places.values() if p.batch == batch and p.kind in STANDING)
