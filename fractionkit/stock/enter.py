"""An assessed run goes into the logbook: charge, cuts, residue, loss, each with its composition and how sure that is."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Assessment
from fractionkit.errors import AtOddsError, Fault, InputError
from fractionkit.readings import weighing_u
from fractionkit.stock import composition as compose
from fractionkit.stock.composition import Known
from fractionkit.stock.draft import FOUND, LOSS, SUPPLY, Draft, grams, micrograms
from fractionkit.stock.ledger import MICROGRAMS, Ledger
from fractionkit.stock.rows import Batch, Decision, Kind, Place

Array = NDArray[np.float64]
#: Of a bottle: its name, and how much of it in kg (None: all).
Part = tuple[str, float | None]
SPILT = (
    0.02  # of what the bottles hold: so much may be missing in the pot and count as loss (common practice, no source)
)


@dataclass(frozen=True)
class Out:
    """One thing that came out of the run."""

    kind: Kind
    name: str
    mass: int
    u: float
    known: Known
    decision: Decision | None


def enter(draft: Draft, assessment: Assessment, charge: Sequence[Part]) -> Batch:
    """Write the rows of a run.

    What came out is booked as weighed; what is missing against the charge is loss, what is too much was found by weighing.
    The charge comes out of the bottles named, the rest of the sheet's charge from outside; where the sheet has no charge,
    it is what came out. Its composition is that of all that came out, less that of the bottles.

    Raises
    ------
    AtOddsError
        where no honest answer stands for the run.
    InputError
        where a cut has no mass, the run is entered already, or the bottles hold clearly more than the sheet's charge.
    """
    mark = _mark(assessment)
    check_assessed(assessment)
    _check_new(draft.ledger, assessment, mark)
    batch = draft.batch(
        assessment.title,
        assessment.date,
        str(Path(assessment.source).absolute()),
        mark,
        assessment.target,
        assessment.purity,
        assessment.confidence,
    )
    pot = draft.place("run", batch.name, assessment.title, batch.id)
    outs = outs_of(assessment, batch)
    taken = _from_bottles(draft, charge, pot)
    come = sum(out.mass for out in outs)
    recycled = sum(mass for mass, _ in taken)
    charged = _charged(assessment, recycled, come)
    whole = compose.blend([(out.known, float(out.mass)) for out in outs])
    if charged > recycled:
        known = fresh(whole, charged, taken)
        u = assessment.balance.charge_u or float(weighing_u(charged / MICROGRAMS))
        draft.move(SUPPLY, pot.id, charged - recycled, draft.origin(f"{batch.name}/charge", known, u))
    if come > charged:
        draft.move(FOUND, pot.id, come - charged)
    for out in outs:
        place = draft.place(out.kind, f"{batch.name}/{out.name}", "", batch.id, out.decision)
        draft.move(pot.id, place.id, out.mass, draft.origin(place.name, out.known, out.u, batch.id))
    if charged > come:
        lost = draft.origin(f"{batch.name}/loss", whole, 0.0, batch.id)
        draft.move(pot.id, LOSS, charged - come, lost)
    return batch


def check_assessed(assessment: Assessment) -> None:
    """Refuse a run of which nothing honest can be entered, or a cut of which has no mass."""
    if assessment.at_odds:
        raise AtOddsError(
            f"{assessment.source}: the readings are at odds, so that nothing honest can be entered of the cuts"
        )
    nameless = [cut.name for cut in assessment.cuts if not cut.mass]
    if nameless:
        expected = f"a mass of every cut ({', '.join(nameless)}); without it the balance cannot be booked"
        raise InputError(Fault(None, expected, assessment.source))


def _check_new(ledger: Ledger, assessment: Assessment, mark: str) -> None:
    held = {entry.booking.id for entry in ledger.holding}
    for batch in ledger.batches.values():
        if batch.mark == mark and batch.booking in held:
            expected = (
                f"a run that is not in the logbook; this is {batch.name}, entry {batch.booking} (stock revise takes over a "
                "new assessment of it)"
            )
            raise InputError(Fault(assessment.title, expected, assessment.source))


def _mark(assessment: Assessment) -> str:
    """What tells the same run entered twice: title, date, and names and masses of its cuts."""
    said = [assessment.title, assessment.date, [[cut.name, cut.mass] for cut in assessment.cuts]]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def outs_of(assessment: Assessment, batch: Batch) -> list[Out]:
    """Cuts and residue; the draws of all are thinned and shuffled alike, so that they stay together."""
    order = compose.shuffled(batch.id)
    draws = compose.thin(assessment.draws)[order]
    outs = [
        Out(
            "cut",
            cut.name,
            micrograms(cut.mass or 0.0, cut.name),
            float(assessment.mass_u[k]),
            Known(assessment.components, draws[:, k], cut.composition),
            cut.decision,
        )
        for k, cut in enumerate(assessment.cuts)
    ]
    residue = assessment.balance.residue
    if residue:
        names = {cut.name.casefold() for cut in assessment.cuts}
        name = "residue" if "residue" not in names else "residue of the pot"
        known = _residue(assessment, batch, order)
        outs.append(Out("residue", name, micrograms(residue, name), float(weighing_u(residue)), known, "waste"))
    return outs


def _residue(assessment: Assessment, batch: Batch, order: NDArray[np.intp]) -> Known:
    """Composition of the residue; where the run says nothing of it, anything is possible."""
    if assessment.residue_draws is None:
        return compose.unknown(assessment.components, batch.id)
    made = compose.intervals(assessment.components, assessment.residue_draws)
    return Known(assessment.components, compose.thin(assessment.residue_draws)[order], made)


def _from_bottles(draft: Draft, charge: Sequence[Part], pot: Place) -> list[tuple[int, Known]]:
    taken = []
    for name, mass in charge:
        bottle = draft.find(name)
        amount = draft.amount(bottle, mass)
        taken.append((amount, holding_of(draft, bottle)))
        draft.move(bottle.id, pot.id, amount)
    return taken


def holding_of(draft: Draft, place: Place) -> Known:
    """Composition of what stands in a place before the entry."""
    content = draft.state.content[place.id]
    return compose.blend([(compose.known(draft.ledger.origins[key]), float(mass)) for key, mass in content.items()])


def _charged(assessment: Assessment, recycled: int, come: int) -> int:
    """Micrograms that went into the pot."""
    said = assessment.balance.charge
    if said is None:
        return max(come, recycled)
    charged = micrograms(said, "charge")
    if recycled > charged + max(SPILT * recycled, 2e6):
        expected = (
            f"bottles that hold no more than the charge, {grams(charged)}; say how much of each went in, like B3=700g"
        )
        raise InputError(Fault(grams(recycled), expected, assessment.source, column="[charge] mass"))
    return max(charged, recycled)


def fresh(whole: Known, charged: int, taken: Sequence[tuple[int, Known]]) -> Known:
    """Composition of what came from outside: what came out of the run less what the bottles brought."""
    if not taken:
        return whole
    components = tuple(dict.fromkeys([*whole.components, *(name for _, known in taken for name in known.components)]))
    held = np.zeros((compose.DRAWS, len(components)))
    for known, mass in ((whole, charged), *((known, -mass) for mass, known in taken)):
        held[:, [components.index(name) for name in known.components]] += mass * known.draws
    held = np.maximum(held, 1e-6 * charged)  # neither composition is certain: a difference may fall below nothing
    draws = held / held.sum(axis=1, keepdims=True)
    return Known(components, draws, compose.intervals(components, draws))
