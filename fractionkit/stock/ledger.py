"""The ledger: what stands where after a sequence of entries, in whole micrograms. Pure: no file, no clock.

Undoing an entry means that it never happened: what stands is found by playing the entries that hold, in their order, so
that a pour undone takes back exactly what was poured and not a share of the mixture. A liquid is well mixed: what is taken
out of a place holds its materials in proportion, to the microgram.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from fractionkit.errors import FractionkitError
from fractionkit.stock.rows import STANDING, Batch, Booking, Entry, Origin, Paper, Place, Reading

MICROGRAMS = 1_000_000_000  # in a kilogram
Content = dict[int, int]  # origin -> micrograms


class OverdrawnError(FractionkitError):
    """An entry that holds would take more out of a place than is there, or use a place that no entry made."""

    exit_code = 1

    def __init__(self, booking: int, place: int, short: int) -> None:
        super().__init__(f"the logbook does not add up: entry {booking} takes what is not there; run stock check")
        self.booking, self.place, self.short = booking, place, short


@dataclass
class State:
    """What stands where.

    content : place -> what is in it. came : origin -> micrograms that came into being, of which a weighing ``found`` some.
    distilled : run's pot -> what went into it.
    """

    content: dict[int, Content] = field(default_factory=dict)
    came: Content = field(default_factory=dict)
    found: Content = field(default_factory=dict)
    distilled: dict[int, Content] = field(default_factory=dict)

    def mass(self, place: int) -> int:
        """Micrograms that stand in a place."""
        return sum(self.content.get(place, {}).values())


class Ledger:
    """All entries, and what follows from them. Entries are given in their order."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.entries: tuple[Entry, ...] = tuple(entries)
        self.places: dict[int, Place] = {place.id: place for entry in self.entries for place in entry.places}
        self.batches: dict[int, Batch] = {batch.id: batch for entry in self.entries for batch in entry.batches}
        self.origins: dict[int, Origin] = {origin.id: origin for entry in self.entries for origin in entry.origins}
        self.undone: dict[int, int] = _undone([entry.booking for entry in self.entries])
        self._revise()

    def _revise(self) -> None:
        """Materials as they are known by the last assessment of their run that holds."""
        for revision in (revision for entry in self.holding for revision in entry.revisions):
            origin = self.origins[revision.origin]
            self.origins[origin.id] = replace(origin, composition=revision.composition, draws=revision.draws)
            for place in [p for p in self.places.values() if (p.batch, p.name) == (origin.batch, origin.name)]:
                if place.kind == "cut":
                    self.places[place.id] = replace(place, decision=revision.decision)

    @property
    def holding(self) -> tuple[Entry, ...]:
        """The entries that hold: neither undone nor the undoing of another."""
        return tuple(e for e in self.entries if e.booking.id not in self.undone and e.booking.undoes is None)

    @property
    def seal(self) -> str:
        """Seal of the last entry, which covers all before it."""
        return self.entries[-1].booking.seal if self.entries else ""

    def names(self) -> dict[str, int]:
        """Name -> id of the places that stand on the shelf or stood there, without those undone."""
        made = {place.id for entry in self.holding for place in entry.places}
        return {place.name: place.id for place in self.places.values() if place.id in made and place.kind in STANDING}

    def state(self) -> State:
        """What stands where now."""
        return play(self.holding, self.places)

    def readings(self, place: int) -> tuple[Reading, ...]:
        """Readings of a place that hold, in the order in which they were entered."""
        return tuple(r for entry in self.holding for r in entry.readings if r.place == place)

    def papers(self, place: int) -> tuple[Paper, ...]:
        """Documents of a place that hold."""
        return tuple(p for entry in self.holding for p in entry.papers if p.place == place)

    def born(self, origin: int) -> bool:
        """Whether a material came out of a run; a charge only went in."""
        return self.origins[origin].batch is not None

    def last(self, table: str) -> int:
        """Highest id used in a table."""
        return max((row.id for entry in self.entries for row in entry.rows()[table]), default=0)


def _undone(bookings: Sequence[Booking]) -> dict[int, int]:
    """Entry -> the entry that undid it. From the last to the first, since an undoing may itself have been undone."""
    undone: dict[int, int] = {}
    for booking in reversed(bookings):
        if booking.undoes is not None and booking.id not in undone:
            undone[booking.undoes] = booking.id
    return undone


def play(entries: Iterable[Entry], places: dict[int, Place], dyed: frozenset[int] = frozenset()) -> State:
    """Play entries in their order.

    ``dyed`` : what passes through these places is counted under the negative of its origin from then on, so that it can
    be followed.

    Raises
    ------
    OverdrawnError
        where a place would hold less than nothing, or was never made.
    """
    state = State()
    made: set[int] = set()
    for entry in entries:
        made.update(place.id for place in entry.places)
        for movement in entry.movements:
            for end in (movement.source, movement.target):
                if end not in made:
                    raise OverdrawnError(entry.booking.id, end, movement.mass)
            parts = _parts(
                state, places, entry.booking.id, movement.source, movement.target, movement.mass, movement.origin
            )
            if places[movement.target].id in dyed:
                parts = _dye(parts)
            _add(state.content.setdefault(movement.target, {}), parts)
        for place in {m.target for m in entry.movements if places[m.target].kind == "run"}:
            if state.mass(place):
                raise OverdrawnError(entry.booking.id, place, state.mass(place))
    return state


def _parts(
    state: State, places: dict[int, Place], booking: int, source: int, target: int, mass: int, origin: int | None
) -> Content:
    """Materials that a movement carries; they are taken out of where they stood."""
    kind = places[source].kind
    if kind == "outside":
        made = {origin: mass} if origin is not None else share(state.content.get(target, {}), mass)
        if not made:
            raise OverdrawnError(booking, target, mass)
        plain = {abs(key): amount for key, amount in made.items()} if origin is None else made
        _add(state.came, plain)
        if origin is None:
            _add(state.found, plain)
        return made
    there = state.content.get(source, {})
    if sum(there.values()) < mass:
        raise OverdrawnError(booking, source, mass - sum(there.values()))
    taken = share(there, mass)
    _add(there, {key: -amount for key, amount in taken.items()})
    if kind != "run" or origin is None:
        return taken
    _add(state.distilled.setdefault(source, {}), taken)
    _add(state.came, {origin: mass})
    return {origin: mass}


def share(content: Content, mass: int) -> Content:
    """Divide ``mass`` among materials in proportion to ``content``: whole micrograms that add up to it exactly.

    No share is larger than what is there, as long as ``mass`` is not. Largest remainders get the micrograms left over.
    """
    total = sum(content.values())
    if total <= 0:
        return {}
    parts = {key: amount * mass // total for key, amount in content.items()}
    over = mass - sum(parts.values())
    rest = sorted(content, key=lambda key: (-(content[key] * mass % total), key))
    for key in rest[:over]:
        parts[key] += 1
    return {key: amount for key, amount in parts.items() if amount}


def pooled(contents: Iterable[Content]) -> Content:
    """Several contents put together."""
    total: Content = {}
    for content in contents:
        _add(total, content)
    return total


def _add(content: Content, parts: Content) -> None:
    for key, amount in parts.items():
        left = content.get(key, 0) + amount
        if left:
            content[key] = left
        else:
            content.pop(key, None)


def _dye(parts: Content) -> Content:
    dyed: Content = {}
    for key, amount in parts.items():
        dyed[-abs(key)] = dyed.get(-abs(key), 0) + amount
    return dyed
