"""The logbook: open it, enter runs, move what stands there, ask what is where. Every act is one entry, whole or not at all."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import TypeVar

from fractionkit.assessment.model import Assessment
from fractionkit.errors import Fault, InputError
from fractionkit.lots.material import Material
from fractionkit.stock import acts, file, shelf, store
from fractionkit.stock.backup import Backup, backup
from fractionkit.stock.composition import Known
from fractionkit.stock.draft import Draft
from fractionkit.stock.enter import Part, enter
from fractionkit.stock.ledger import Ledger, OverdrawnError, play
from fractionkit.stock.lot import LotMade, book_lot
from fractionkit.stock.proof import Proof, prove
from fractionkit.stock.revise import revise
from fractionkit.stock.rows import Batch, Place
from fractionkit.stock.shelf import Holding, Step
from fractionkit.stock.text import find

T = TypeVar("T")
Act = Callable[[Draft], T]


class Stock:
    """An open logbook; use it in a ``with`` statement.

    ``ledger`` is what it held when it was last read or written by this object.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection
        self.ledger: Ledger = store.load(connection, path)

    def __enter__(self) -> Stock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go."""
        self._connection.close()

    def write(self, act: str, work: Act[T], day: str | None = None, note: str = "", undoes: int | None = None) -> T:
        """Write one entry: ``work`` fills the draft while the file is locked; confirmed once this returns.

        Raises
        ------
        InputError
            where the entry does not fit what stands there; nothing is written then.
        """
        with file.transaction(self._connection, self.path):
            before = self._latest()
            draft = Draft(before, act, day, note, undoes)
            made = work(draft)
            entry = store.sealed(draft.entry(), before.seal)
            after = Ledger((*before.entries, entry))
            _check(after, undoes)
            store.add(self._connection, entry)
            written = store.read_back(self._connection, entry.booking.id)
            if written != entry or written.seal(before.seal) != entry.booking.seal:
                raise ValueError(f"entry {entry.booking.id} does not come back as it was written")  # and is rolled back
        self.ledger = after
        return made

    def _latest(self) -> Ledger:
        """The ledger as it is in the file; read again only where another command has written since."""
        if store.last_seal(self._connection) != self.ledger.seal:
            return store.load(self._connection, self.path)
        return self.ledger

    def enter(
        self, assessment: Assessment, charge: Sequence[Part] = (), day: str | None = None, note: str = ""
    ) -> Batch:
        """Book an assessed run; ``charge``: bottles that went into the pot, each with kg (None: all of it)."""
        day = day or assessment.date
        return self.write("run entered", lambda draft: enter(draft, assessment, charge), day, note)

    def revise(self, assessment: Assessment, run: str | None = None, day: str | None = None, note: str = "") -> Batch:
        """Take over a new assessment of a run: the same masses, other compositions; ``run``: R7, else by its sheet."""

        def work(draft: Draft) -> Batch:
            path = str(Path(assessment.source).absolute())
            batch = draft.ledger.batches[acts.run_named(draft.ledger, run or path, path if run is None else "")]
            revise(draft, assessment, batch)
            return batch

        return self.write("run revised", work, day, note)

    def receive(
        self,
        mass: float,
        known: Known,
        name: str | None = None,
        title: str = "",
        notes: Sequence[acts.Noted] = (),
        day: str | None = None,
        note: str = "",
    ) -> Place:
        """Book a bottle that comes from outside; ``mass`` kg."""
        return self.write("received", lambda draft: acts.receive(draft, name, title, mass, known, notes), day, note)

    def fill(
        self,
        source: str,
        mass: float | None = None,
        name: str | None = None,
        title: str = "",
        notes: Sequence[acts.Noted] = (),
        day: str | None = None,
        note: str = "",
    ) -> Place:
        """Fill a new bottle from a cut or anything else; ``mass`` kg, None: all."""
        return self.write("filled", lambda draft: acts.fill(draft, source, mass, name, title, notes), day, note)

    def pour(self, source: str, target: str, mass: float | None = None, day: str | None = None, note: str = "") -> int:
        """Pour into what stands there already; micrograms poured."""
        return self.write("poured", lambda draft: acts.pour(draft, source, target, mass), day, note)

    def combine(
        self,
        number: str,
        parts: Sequence[Part],
        title: str = "",
        notes: Sequence[acts.Noted] = (),
        document: str | None = None,
        day: str | None = None,
        note: str = "",
    ) -> Place:
        """Make a lot of cuts and bottles, or of parts of them (kg, None: all)."""
        return self.write(
            "lot made", lambda draft: acts.combine(draft, number, title, parts, notes, document), day, note
        )

    def book_lot(self, lot: LotMade, day: str | None = None) -> str:
        """Book a lot that the release has made up; its number.

        Raises
        ------
        InputError
            where a parent is not in the logbook, or not so much of it.
        """
        return self.write("lot made", lambda draft: book_lot(draft, lot), day or lot.date).name

    def take(
        self,
        name: str,
        mass: float | None = None,
        way: str = "use",
        customer: str | None = None,
        day: str | None = None,
        note: str = "",
    ) -> int:
        """Book what leaves: ``way`` "use", "sell" (to ``customer``) or "dispose"; micrograms."""
        word = {"use": "used", "sell": "sold", "dispose": "disposed of"}[way]
        return self.write(word, lambda draft: acts.take(draft, name, mass, way, customer), day, note)

    def weigh(self, name: str, mass: float, u: float | None = None, day: str | None = None, note: str = "") -> int:
        """Book a new weighing, kg; micrograms more than were booked (less: evaporated)."""
        return self.write("weighed", lambda draft: acts.weigh(draft, name, mass, u), day, note)

    def note(self, name: str, notes: Sequence[acts.Noted], day: str | None = None) -> Place:
        """Note readings and dates of a place."""

        def work(draft: Draft) -> Place:
            place = draft.find(name)
            acts.note(draft, place, notes)
            return place

        return self.write("noted", work, day)

    def undo(self, number: int | None = None, note: str = "") -> int:
        """Undo an entry, the last one that holds by default, by a counter-entry; its number."""
        sought = acts.to_undo(self.ledger, number)

        def work(draft: Draft) -> int:
            acts.to_undo(draft.ledger, sought)  # another command may have been quicker
            for movement in draft.ledger.entries[sought - 1].movements:
                draft.move(movement.target, movement.source, movement.mass)
            return sought

        return self.write("undone", work, None, note, sought)

    @property
    def names(self) -> tuple[str, ...]:
        """Every name that has been given to a bottle, cut or lot, also of those undone: none is given twice."""
        return tuple(place.name for place in self.ledger.places.values())

    def holdings(self, *, empty: bool = False) -> tuple[Holding, ...]:
        """What stands on the shelf; with ``empty`` also what stood there."""
        return shelf.holdings(self.ledger, empty=empty)

    def holding(self, name: str) -> Holding:
        """One cut, bottle or lot.

        Raises
        ------
        InputError
            where nothing is called so.
        """
        place = self.ledger.places[find(name, self.ledger.names(), "name")]
        return shelf.holding(self.ledger, self.ledger.state(), shelf.conditions(self.ledger), place)

    def materials(self, names: Sequence[str]) -> tuple[Material, ...]:
        """What stands in these places, to combine or distil again.

        All have one origin, the shelf: row d of every one of them is the same world, so that what they share of a run stays
        shared.

        Raises
        ------
        InputError
            where one is unknown or empty.
        """
        found = []
        for name in names:
            held = self.holding(name)
            if held.known is None:
                raise InputError(Fault(held.name, "something that is not empty", file=str(self.path)))
            made = held.known
            found.append(Material(held.name, made.components, held.mass, held.mass_u, made.draws, str(self.path)))
        return tuple(found)

    def history(self, place: int) -> tuple[Step, ...]:
        """What was poured into a place and out of it, by the entries that hold."""
        return shelf.history(self.ledger, place)

    def prove(self) -> Proof:
        """Check the file and prove that mass was neither made nor lost."""
        with file.snapshot(self._connection, self.path):
            self.ledger = store.load(self._connection, self.path)
            return prove(self.ledger, self._connection, self.path)

    def backup(self, path: str | Path) -> Backup:
        """Copy everything to a new file and verify the copy; others may go on writing meanwhile."""
        return backup(self._connection, self.path, Path(path))


def _check(after: Ledger, undoes: int | None) -> None:
    """What stands must come out right with the new entry, by playing all of them."""
    if undoes is not None:
        acts.check_undo(after, undoes)
        return
    try:
        play(after.holding, after.places)
    except OverdrawnError as error:
        expected = "no more than is there"
        raise InputError(Fault(after.places[error.place].name, expected, column="mass")) from None
