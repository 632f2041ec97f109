"""What is done at the shelf, each as one entry: receive, fill, pour, make a lot, take away, weigh again, note, undo."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from fractionkit.errors import Fault, InputError
from fractionkit.readings import weighing_u
from fractionkit.stock.composition import Known
from fractionkit.stock.draft import FOUND, LOSS, SOLD, SUPPLY, USED, WASTE, Draft, grams, micrograms
from fractionkit.stock.enter import Part
from fractionkit.stock.ledger import Ledger, OverdrawnError, play
from fractionkit.stock.rows import Place
from fractionkit.stock.text import checked_day, checked_name, find, key, shown

OPENED, RETEST, STABILISER, STANDS, MASS, DENSITY, REMARK = (
    "opened", "retest by", "stabiliser", "stands at", "mass", "density", "remark",
)  # fmt: skip
RESERVED = (OPENED, RETEST, STABILISER, STANDS, MASS, DENSITY, REMARK)
LEAVES = {"use": USED, "sell": SOLD, "dispose": WASTE}


@dataclass(frozen=True)
class Noted:
    """Something to note of a place; figures in SI."""

    attribute: str
    value: str
    si: float | None = None
    u: float | None = None
    temperature: float | None = None
    method: str = ""


def receive(draft: Draft, name: str | None, title: str, mass: float, known: Known, notes: Sequence[Noted]) -> Place:
    """A bottle from outside."""
    bottle = draft.bottle(name, title)
    amount = micrograms(mass, "mass")
    draft.move(SUPPLY, bottle.id, amount, draft.origin(bottle.name, known, float(weighing_u(mass))))
    note(draft, bottle, notes)
    return bottle


def fill(draft: Draft, source: str, mass: float | None, name: str | None, title: str, notes: Sequence[Noted]) -> Place:
    """A new bottle filled from a cut, or from anything else that stands there."""
    found = draft.find(source)
    amount = draft.amount(found, mass)
    bottle = draft.bottle(name, title)
    draft.move(found.id, bottle.id, amount)
    note(draft, bottle, notes)
    return bottle


def pour(draft: Draft, source: str, target: str, mass: float | None) -> int:
    """From one place into another that is there already; micrograms poured."""
    start, end = draft.find(source), draft.find(target)
    amount = draft.amount(start, mass)
    draft.move(start.id, end.id, amount)
    return amount


def combine(
    draft: Draft, number: str, title: str, parts: Sequence[Part], notes: Sequence[Noted], document: str | None
) -> Place:
    """A lot made of cuts and bottles, or of parts of them."""
    if not parts:
        raise InputError(Fault(number, "one or more cuts or bottles that the lot is made of"))
    lot = draft.place("lot", number, title)
    for name, mass in parts:
        source = draft.find(name)
        draft.move(source.id, lot.id, draft.amount(source, mass))
    note(draft, lot, notes)
    if document is not None:
        draft.paper(lot.id, document)
    return lot


def take(draft: Draft, name: str, mass: float | None, way: str, customer: str | None) -> int:
    """Something leaves: used, sold (to somebody), disposed of; micrograms."""
    place = draft.find(name)
    amount = draft.amount(place, mass)
    draft.move(place.id, LEAVES[way] if customer is None else _customer(draft, customer), amount)
    return amount


def _customer(draft: Draft, name: str) -> int:
    name = checked_name(name, "to")
    for place in draft.ledger.places.values():
        if place.kind == "gone" and key(place.name) == key(name):
            return place.id
    return draft.place("gone", name).id


def weigh(draft: Draft, name: str, mass: float, u: float | None) -> int:
    """Weighed again: what is missing has evaporated, what is too much was found; micrograms more than booked."""
    place = draft.find(name)
    there = draft.state.mass(place.id)
    if there <= 0:
        draft.amount(place, None)  # says where it went
    weighed = micrograms(mass, "mass")
    if weighed < there:
        draft.move(place.id, LOSS, there - weighed)
    elif weighed > there:
        draft.move(FOUND, place.id, weighed - there)
    draft.read(place.id, MASS, grams(weighed), si=mass, u=u)
    return weighed - there


def note(draft: Draft, place: Place, notes: Sequence[Noted]) -> None:
    """Readings and dates of a place."""
    for noted in notes:
        value = noted.value
        if noted.attribute in (OPENED, RETEST):
            value = checked_day(value, noted.attribute) or draft.day
        draft.read(
            place.id,
            noted.attribute,
            value,
            si=noted.si,
            u=noted.u,
            temperature=noted.temperature,
            method=noted.method,
        )


def to_undo(ledger: Ledger, number: int | None) -> int:
    """Number of the entry to undo: the one named, else the last that holds.

    Raises
    ------
    InputError
        where there is none, it is undone already, or something later hangs on it.
    """
    if number is None:
        number = max((entry.booking.id for entry in ledger.holding), default=1)
    if not 1 < number <= len(ledger.entries):
        raise InputError(Fault(str(number), f"the number of an entry from 2 to {len(ledger.entries)}", column="entry"))
    if number in ledger.undone:
        raise InputError(Fault(str(number), f"an entry that holds; {ledger.undone[number]} undid it", column="entry"))
    return number


def check_undo(after: Ledger, number: int) -> None:
    """Refuse to undo what later entries need, naming the first of them."""
    try:
        play(after.holding, after.places)
    except OverdrawnError as error:
        name = shown(after.places[error.place].name)
        expected = (
            f"an entry on which nothing hangs: entry {error.booking} needs what is in {name}; undo that one first"
        )
        raise InputError(Fault(str(number), expected, column="entry")) from None


def run_named(ledger: Ledger, typed: str, path: str) -> int:
    """Id of the run that is called so: "R7", the path of its sheet, or its title.

    Raises
    ------
    InputError
        where no such run was entered, or several have the title.
    """
    held = {entry.booking.id for entry in ledger.holding}
    batches = [batch for batch in ledger.batches.values() if batch.booking in held]
    for match in (lambda b: b.source == path, lambda b: key(b.name) == key(typed), lambda b: b.title == typed):
        found = [batch for batch in batches if match(batch)]
        if found:
            if len({batch.source for batch in found}) > 1:
                names = ", ".join(batch.name for batch in found)
                raise InputError(Fault(typed, f"one of the runs {names}, which all have this title"))
            return found[-1].id
    raise InputError(Fault(typed, "a run that is in the logbook; enter it first, with stock enter"))


def cut_of(ledger: Ledger, batch: int, cut: str) -> Place:
    """A cut of a run."""
    mine = {p.name: p.id for p in ledger.places.values() if p.batch == batch and p.kind in ("cut", "residue")}
    whole = f"{ledger.batches[batch].name}/{cut}"
    return ledger.places[find(whole if whole in mine else cut, mine, "cut")]


def document_text(document: dict[str, object]) -> str:
    """A document as it is stored."""
    return json.dumps(document, ensure_ascii=False, sort_keys=True)
