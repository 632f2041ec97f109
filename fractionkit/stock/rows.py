"""The rows of the logbook as they are stored, and the seal by which each entry hangs on the one before. Nothing computes."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, fields
from typing import Any, Literal

Kind = Literal["outside", "run", "cut", "residue", "bottle", "lot", "gone"]
Decision = Literal["keep", "recycle", "redistil", "waste"]

#: Places that stand on the shelf.
STANDING: tuple[Kind, ...] = ("cut", "residue", "bottle", "lot")


@dataclass(frozen=True)
class Booking:
    """One entry: everything that one command wrote. ``entered``: UTC; ``day``: when it happened; both ISO."""

    id: int
    entered: str
    day: str
    act: str
    note: str
    undoes: int | None
    seal: str = ""


@dataclass(frozen=True)
class Batch:
    """One assessed run. ``mark`` tells whether the same run is entered a second time."""

    id: int
    booking: int
    name: str
    title: str
    day: str | None
    source: str
    mark: str
    target: str | None
    purity: float | None
    confidence: float | None


@dataclass(frozen=True)
class Place:
    """Where mass can be: outside (supply, found by weighing), a run's pot, a cut, a bottle, a lot, or gone."""

    id: int
    booking: int
    kind: Kind
    name: str
    title: str
    batch: int | None = None
    decision: Decision | None = None


@dataclass(frozen=True)
class Origin:
    """A material as it first came: one composition for good.

    u : kg, standard uncertainty of its mass. composition : JSON, component -> [estimate, low, high]. draws : (D, n) mass
    fractions as little-endian float32; row d belongs with row d of the other origins of its batch.
    """

    id: int
    booking: int
    batch: int | None
    name: str
    u: float
    composition: str
    draws: bytes = field(repr=False)


@dataclass(frozen=True)
class Movement:
    """``mass`` micrograms from one place to another; ``origin`` is the material that comes into being with it, if any."""

    id: int
    booking: int
    source: int
    target: int
    mass: int
    origin: int | None = None


@dataclass(frozen=True)
class Reading:
    """What was read or noted of a place on a day; ``si``, ``u`` and ``temperature`` where it is a figure."""

    id: int
    booking: int
    place: int
    day: str
    attribute: str
    value: str
    si: float | None = None
    u: float | None = None
    temperature: float | None = None
    method: str = ""


@dataclass(frozen=True)
class Paper:
    """A document that belongs to a place, as JSON: what was written of a lot."""

    id: int
    booking: int
    place: int
    document: str


@dataclass(frozen=True)
class Revision:
    """What is known of a material after its run was assessed anew; ``decision`` of the cut it is."""

    id: int
    booking: int
    origin: int
    decision: Decision | None
    composition: str
    draws: bytes = field(repr=False)


Row = Booking | Batch | Place | Origin | Movement | Reading | Paper | Revision
#: Tables in the order in which rows must be written.
TABLES: dict[str, type[Any]] = {
    "booking": Booking,
    "batch": Batch,
    "place": Place,
    "origin": Origin,
    "movement": Movement,
    "reading": Reading,
    "paper": Paper,
    "revision": Revision,
}


@dataclass(frozen=True)
class Entry:
    """A booking with all rows that it writes."""

    booking: Booking
    batches: tuple[Batch, ...] = ()
    places: tuple[Place, ...] = ()
    origins: tuple[Origin, ...] = ()
    movements: tuple[Movement, ...] = ()
    readings: tuple[Reading, ...] = ()
    papers: tuple[Paper, ...] = ()
    revisions: tuple[Revision, ...] = ()

    def rows(self) -> dict[str, tuple[Row, ...]]:
        """Table -> rows, in the order of `TABLES`."""
        every = (
            self.batches, self.places, self.origins, self.movements, self.readings, self.papers, self.revisions,
        )  # fmt: skip
        return dict(zip(TABLES, ((self.booking,), *every), strict=True))

    def seal(self, before: str) -> str:
        """SHA-256 over the seal of the entry before and everything that this one says.

        A changed, missing or inserted row anywhere breaks every seal from there on.
        """
        said = {
            table: [_plain(row) for row in rows] for table, rows in self.rows().items() if rows or table == "booking"
        }
        text = json.dumps([before, said], ensure_ascii=True, separators=(",", ":"), sort_keys=True)
        return hashlib.sha256(text.encode("ascii")).hexdigest()


def columns(table: str) -> tuple[str, ...]:
    """Names of the columns of a table."""
    return tuple(column.name for column in fields(TABLES[table]))


def values(row: Row) -> tuple[Any, ...]:
    """The values of a row, in the order of `columns`."""
    return tuple(vars(row).values())


def _plain(row: Row) -> dict[str, Any]:
    """A row as JSON can hold it, without the seal; a figure is told by its exact digits."""
    told = {key: value.hex() if isinstance(value, bytes) else value for key, value in vars(row).items()}
    told.pop("seal", None)
    return told
