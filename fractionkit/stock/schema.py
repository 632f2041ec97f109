"""The tables of the logbook as numbered steps: a file of any earlier version is brought up to date, none is guessed at.

Everything is entered once and stays: triggers refuse every change and every deletion. An entry that was wrong is undone by
a counter-entry. Masses are whole micrograms, so that sums are exact.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import lru_cache

#: "fkst", written at byte 68 of the file: tells this logbook from any other SQLite file.
APPLICATION_ID = 0x666B7374

_FIRST = """
CREATE TABLE booking (
    id INTEGER PRIMARY KEY,
    entered TEXT NOT NULL,
    day TEXT NOT NULL,
    act TEXT NOT NULL,
    note TEXT NOT NULL,
    undoes INTEGER REFERENCES booking (id),
    seal TEXT NOT NULL,
    CHECK (undoes < id)
);
CREATE TABLE batch (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    name TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    day TEXT,
    source TEXT NOT NULL,
    mark TEXT NOT NULL,
    target TEXT,
    purity REAL,
    confidence REAL
);
CREATE TABLE place (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    kind TEXT NOT NULL CHECK (kind IN ('outside', 'run', 'cut', 'residue', 'bottle', 'lot', 'gone')),
    name TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    batch INTEGER REFERENCES batch (id),
    decision TEXT CHECK (decision IN ('keep', 'recycle', 'redistil', 'waste'))
);
CREATE TABLE origin (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    batch INTEGER REFERENCES batch (id),
    name TEXT NOT NULL,
    u REAL NOT NULL CHECK (u >= 0),
    composition TEXT NOT NULL,
    draws BLOB NOT NULL
);
CREATE TABLE movement (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    source INTEGER NOT NULL REFERENCES place (id),
    target INTEGER NOT NULL REFERENCES place (id),
    mass INTEGER NOT NULL CHECK (typeof(mass) = 'integer' AND mass > 0),
    origin INTEGER REFERENCES origin (id),
    CHECK (source <> target)
);
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    place INTEGER NOT NULL REFERENCES place (id),
    day TEXT NOT NULL,
    attribute TEXT NOT NULL,
    value TEXT NOT NULL,
    si REAL,
    u REAL,
    temperature REAL,
    method TEXT NOT NULL
);
"""

_SECOND = """
CREATE TABLE paper (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    place INTEGER NOT NULL REFERENCES place (id),
    document TEXT NOT NULL
);
CREATE TABLE revision (
    id INTEGER PRIMARY KEY,
    booking INTEGER NOT NULL REFERENCES booking (id),
    origin INTEGER NOT NULL REFERENCES origin (id),
    decision TEXT CHECK (decision IN ('keep', 'recycle', 'redistil', 'waste')),
    composition TEXT NOT NULL,
    draws BLOB NOT NULL
);
CREATE INDEX movement_of_booking ON movement (booking);
"""


def _guards(*tables: str) -> str:
    """Triggers by which a table can only grow."""
    return "".join(
        f"CREATE TRIGGER {table}_{word.lower()} BEFORE {word} ON {table} "
        f"BEGIN SELECT RAISE (ABORT, 'the logbook is only ever added to'); END;\n"
        for table in tables
        for word in ("UPDATE", "DELETE")
    )


#: Step k brings a file of version k to version k + 1. A step that was released is never changed; a new one is added.
STEPS: tuple[str, ...] = (
    _FIRST + _guards("booking", "batch", "place", "origin", "movement", "reading"),
    _SECOND + _guards("paper", "revision"),
)
VERSION = len(STEPS)


def version_of(connection: sqlite3.Connection) -> int:
    """Version of the tables in an open file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def layout(connection: sqlite3.Connection) -> frozenset[tuple[str, str]]:
    """Name and definition of every table, trigger and index that is in a file."""
    found = connection.execute("SELECT name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'")
    return frozenset((str(name), str(sql)) for name, sql in found)


@lru_cache(maxsize=8)
def expected_layout(version: int) -> frozenset[tuple[str, str]]:
    """What a file of a version must have."""
    with closing(sqlite3.connect(":memory:")) as scratch:
        for step in STEPS[:version]:
            scratch.executescript(step)
        return layout(scratch)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables of an open transaction up to date, one step after the other."""
    for step in range(version_of(connection), VERSION):
        for statement in _statements(STEPS[step]):
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {step + 1}")


def _statements(script: str) -> list[str]:
    """Single statements: `executescript` would end the transaction that makes all of them one."""
    found, held = [], ""
    for line in script.splitlines(keepends=True):
        held += line
        if sqlite3.complete_statement(held):
            found.append(held.strip())
            held = ""
    return found
