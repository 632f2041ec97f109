"""One entry in the making: numbers its rows, then hands them over whole."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence

from fractionkit.errors import Fault, InputError
from fractionkit.quantities.rounding import HEAVY
from fractionkit.stock.composition import Known, composition_text, encode
from fractionkit.stock.ledger import MICROGRAMS, Ledger, State
from fractionkit.stock.rows import (
    Batch,
    Booking,
    Decision,
    Entry,
    Kind,
    Movement,
    Origin,
    Paper,
    Place,
    Reading,
    Revision,
    Row,
)
from fractionkit.stock.text import checked, checked_day, checked_name, find, key, shown

SUPPLY, FOUND, WASTE, LOSS, USED, SOLD = range(1, 7)  # places that every logbook has, made with its first entry
FIXED: tuple[tuple[Kind, str], ...] = (
    ("outside", "supply"),
    ("outside", "found by weighing"),
    ("gone", "waste"),
    ("gone", "loss"),
    ("gone", "used"),
    ("gone", "sold"),
)
HEAVIEST = 1000.0  # kg
#: Names that runs and their cuts have or will have: R7, R-7, R7/C5.
OF_RUNS = re.compile(r"r[ _-]?\d{1,4}(/.*)?", re.IGNORECASE | re.DOTALL)
CLOSE = 1000  # micrograms by which a mass may be beyond what is there and still mean all of it


class Draft:
    """An entry being written against the ledger as it stands.

    ``day`` is when it happened, today by default; ``state`` what stands before it.
    """

    def __init__(
        self, ledger: Ledger, act: str, day: str | None = None, note: str = "", undoes: int | None = None
    ) -> None:
        now = datetime.datetime.now(datetime.UTC)
        self.ledger = ledger
        self.state: State = ledger.state()
        self.day = checked_day(day) or datetime.date.today().isoformat()
        self.number = len(ledger.entries) + 1
        entered = now.isoformat(timespec="seconds")
        self._booking = Booking(self.number, entered, self.day, act, checked(note, "note"), undoes)
        self._names = ledger.names()
        self._batches: list[Batch] = []
        self._places: list[Place] = []
        self._origins: list[Origin] = []
        self._movements: list[Movement] = []
        self._readings: list[Reading] = []
        self._papers: list[Paper] = []
        self._revisions: list[Revision] = []

    def entry(self) -> Entry:
        """The entry, not yet sealed."""
        return Entry(
            self._booking,
            tuple(self._batches),
            tuple(self._places),
            tuple(self._origins),
            tuple(self._movements),
            tuple(self._readings),
            tuple(self._papers),
            tuple(self._revisions),
        )

    def batch(
        self,
        title: str,
        day: str | None,
        source: str,
        mark: str,
        target: str | None,
        purity: float | None,
        confidence: float | None,
    ) -> Batch:
        """A new run, numbered R1, R2 and so on."""
        number = self._next("batch", self._batches)
        made = Batch(
            number,
            self.number,
            self._run_name(number),
            checked(title, "title"),
            day,
            checked(source, "source"),
            mark,
            target,
            _float(purity),
            _float(confidence),
        )
        self._batches.append(made)
        return made

    def _run_name(self, number: int) -> str:
        """R and a number, counted up where something else came to have that name."""
        taken = {key(place.name) for place in self.ledger.places.values()}
        while f"r{number}" in taken:
            number += 1
        return f"R{number}"

    def place(
        self, kind: Kind, name: str, title: str = "", batch: int | None = None, decision: Decision | None = None
    ) -> Place:
        """A new place; its name is refused where another has it, or had it."""
        name = checked_name(name, "name")
        if kind not in ("run", "cut", "residue") and OF_RUNS.fullmatch(name):
            raise InputError(Fault(name, "a name unlike those of runs and their cuts, R1 or R1/C5", column="name"))
        taken = {key(place.name): place.name for place in (*self.ledger.places.values(), *self._places)}
        if key(name) in taken:
            raise InputError(Fault(name, f"another name: {shown(taken[key(name)])} has this one", column="name"))
        made = Place(
            self._next("place", self._places), self.number, kind, name, checked(title, "title"), batch, decision
        )
        self._places.append(made)
        return made

    def bottle(self, name: str | None, title: str) -> Place:
        """A new bottle, numbered B1, B2 and so on where it is given no name."""
        if name is None:
            used = [re.fullmatch(r"b(\d{1,9})", key(place.name)) for place in self.ledger.places.values()]
            name = f"B{1 + max((int(match[1]) for match in used if match), default=0)}"
        return self.place("bottle", name, title)

    def origin(self, name: str, known: Known, u: float, batch: int | None = None) -> Origin:
        """A material that comes into being with this entry; ``u`` [kg] of its mass."""
        number = self._next("origin", self._origins)
        text = composition_text(known.composition)
        made = Origin(number, self.number, batch, name, float(u), text, encode(known.draws))
        self._origins.append(made)
        return made

    def move(self, source: int, target: int, mass: int, origin: Origin | None = None) -> None:
        """``mass`` micrograms from place to place."""
        if source == target:
            name = self.ledger.places[source].name
            raise InputError(Fault(name, "another place than the one it comes from"))
        number = self._next("movement", self._movements)
        self._movements.append(Movement(number, self.number, source, target, mass, origin.id if origin else None))

    def read(
        self,
        place: int,
        attribute: str,
        value: str,
        *,
        day: str | None = None,
        si: float | None = None,
        u: float | None = None,
        temperature: float | None = None,
        method: str = "",
    ) -> None:
        """Something read or noted of a place."""
        number = self._next("reading", self._readings)
        for text, what in ((attribute, "attribute"), (value, attribute), (method, "method")):
            checked(text, what)
        day = checked_day(day) or self.day
        figures = (_float(si), _float(u), _float(temperature))
        self._readings.append(Reading(number, self.number, place, day, attribute, value, *figures, method))

    def paper(self, place: int, document: str) -> None:
        """A document that belongs to a place."""
        self._papers.append(Paper(self._next("paper", self._papers), self.number, place, document))

    def revise(self, origin: int, known: Known, decision: Decision | None) -> None:
        """What is known of a material by now; ``decision`` of the cut it is."""
        number = self._next("revision", self._revisions)
        text = composition_text(known.composition)
        self._revisions.append(Revision(number, self.number, origin, decision, text, encode(known.draws)))

    def find(self, typed: str) -> Place:
        """The place on the shelf that is called so."""
        return self.ledger.places[find(typed, self._names, "name")]

    def amount(self, place: Place, mass: float | None) -> int:
        """Micrograms to take out of a place: ``mass`` kg, all where None.

        Raises
        ------
        InputError
            where nothing stands there, or less than that.
        """
        there = self.state.mass(place.id) - sum(m.mass for m in self._movements if m.source == place.id)
        if there <= 0:
            raise InputError(Fault(place.name, f"something that is not empty{self._whereabouts(place)}"))
        if mass is None:
            return there
        asked = micrograms(mass, place.name)
        if asked > there + CLOSE:
            raise InputError(
                Fault(f"{grams(asked)}", f"at most {grams(there)}, which is what {shown(place.name)} holds")
            )
        return min(asked, there)

    def _whereabouts(self, place: Place) -> str:
        """Where the content of an empty place went, by the last entry that emptied it."""
        for entry in reversed(self.ledger.holding):
            targets = dict.fromkeys(m.target for m in entry.movements if m.source == place.id)
            if targets:
                names = ", ".join(shown(self.ledger.places[target].name) for target in targets)
                return f"; what it held went to {names} (entry {entry.booking.id})"
        return ""

    def _next(self, table: str, drafted: Sequence[Row]) -> int:
        return 1 + (drafted[-1].id if drafted else self.ledger.last(table))


def _float(value: float | None) -> float | None:
    """A figure as the file gives it back: a whole number, or one of an array, would not come back as itself."""
    return None if value is None else float(value)


def micrograms(mass: float, what: str) -> int:
    """A mass in kg as whole micrograms.

    Raises
    ------
    InputError
        where it is not more than 0 and at most 1000 kg.
    """
    if not 0.0 < mass <= HEAVIEST or round(mass * MICROGRAMS) == 0:
        raise InputError(Fault(f"{1000 * mass:.6g} g", "a mass of more than 0 and at most 1000 kg", column=what))
    return round(mass * MICROGRAMS)


def grams(mass: int) -> str:
    """Micrograms as a text in g, from `HEAVY` on in kg, all digits that there are."""
    if mass >= HEAVY * MICROGRAMS:
        return f"{mass / MICROGRAMS:.12g} kg"
    return f"{mass / 1e6:.10g} g" if mass % 100_000 else f"{mass / 1e6:.1f} g"
