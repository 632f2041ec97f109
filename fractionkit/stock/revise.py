"""A run assessed anew: the same masses, other compositions, wherever its cuts are by now.

A test done later, or a thermometer corrected, changes what is known of the cuts and not what was poured. The materials of
the run get their new compositions by an entry of its own, which can be undone like any other.
"""

from __future__ import annotations

from pathlib import Path

from fractionkit.assessment.model import Assessment
from fractionkit.errors import Fault, InputError
from fractionkit.stock import composition as compose
from fractionkit.stock.composition import Known
from fractionkit.stock.draft import SUPPLY, Draft, grams
from fractionkit.stock.enter import Out, check_assessed, fresh, outs_of
from fractionkit.stock.ledger import Content, Ledger, play, share
from fractionkit.stock.rows import Batch, Entry


def revise(draft: Draft, assessment: Assessment, batch: Batch) -> int:
    """Give the materials of a run the compositions of its new assessment; how many there are.

    Raises
    ------
    AtOddsError
        where no honest answer stands for the run.
    InputError
        where its cuts or masses are not those that were booked.
    """
    check_assessed(assessment)
    entry = draft.ledger.entries[batch.booking - 1]
    outs = {f"{batch.name}/{out.name}": out for out in outs_of(assessment, batch)}
    came = {draft.ledger.origins[m.origin].name: m for m in entry.movements if m.origin is not None}
    _check_masses(draft.ledger, assessment, batch, outs, entry)
    whole = compose.blend([(out.known, float(out.mass)) for out in outs.values()])
    for name, movement in came.items():
        out = outs.get(name)
        known, decision = (whole, None) if out is None else (out.known, out.decision)
        if movement.source == SUPPLY:
            charged = sum(m.mass for m in entry.movements if m.target == _pot(entry))
            known = fresh(whole, charged, _from_bottles(draft.ledger, entry))
        draft.revise(movement.origin or 0, known, decision)
    return len(came)


def _check_masses(ledger: Ledger, assessment: Assessment, batch: Batch, outs: dict[str, Out], entry: Entry) -> None:
    booked = {
        ledger.places[m.target].name: m.mass for m in entry.movements if ledger.places[m.target].batch == batch.id
    }
    booked.pop(batch.name, None)  # the pot
    found = {name: out.mass for name, out in outs.items()}
    differ = sorted(name for name in {*booked, *found} if booked.get(name) != found.get(name))
    if differ:
        told = "; ".join(f"{name} {_told(booked.get(name))} then, {_told(found.get(name))} now" for name in differ[:4])
        expected = f"the masses that were booked ({told}): undo entry {batch.booking} and enter the run again"
        raise InputError(Fault(assessment.title, expected, str(Path(assessment.source))))


def _told(mass: int | None) -> str:
    return "nothing" if mass is None else grams(mass)


def _pot(entry: Entry) -> int:
    return next(place.id for place in entry.places if place.kind == "run")


def _from_bottles(ledger: Ledger, entry: Entry) -> list[tuple[int, Known]]:
    """What bottles brought into the pot, with their compositions as they were known before."""
    before = play([e for e in ledger.holding if e.booking.id < entry.booking.id], ledger.places)
    outside = [m for m in entry.movements if m.target == _pot(entry) and ledger.places[m.source].kind != "outside"]
    return [(m.mass, _blend(ledger, share(before.content[m.source], m.mass))) for m in outside]


def _blend(ledger: Ledger, content: Content) -> Known:
    return compose.blend([(compose.known(ledger.origins[key]), float(mass)) for key, mass in content.items()])
