"""Rows in and out of an open file: loading the whole ledger with its seals verified, adding one entry."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from fractionkit.stock import file, schema
from fractionkit.stock.ledger import Ledger
from fractionkit.stock.rows import TABLES, Booking, Entry, Row, columns, values

Tables = dict[str, list[Any]]


def load(connection: sqlite3.Connection, path: Path) -> Ledger:
    """All entries of a file; a table that its version does not have yet is empty.

    Raises
    ------
    InputError
        where a seal does not fit what it seals: a row was changed, lost or put in from outside.
    """
    with file.trouble(path), file.snapshot(connection, path):
        layout = schema.layout(connection)
        if layout != schema.expected_layout(schema.version_of(connection)):
            raise file.damaged(path, "its tables and guards are not those of its version")
        there = {name for name, _ in layout}
        found: Tables = {
            table: [made(*row) for row in connection.execute(_select(table))] if table in there else []
            for table, made in TABLES.items()
        }
    entries = assemble(found)
    broken = first_broken(entries)
    if broken is not None:
        raise file.damaged(path, f"entry {broken} is not as it was written")
    return Ledger(entries)


def last_seal(connection: sqlite3.Connection) -> str:
    """Seal of the last entry in the file: it covers all before it, so that the same seal means the same ledger."""
    found = connection.execute("SELECT seal FROM booking ORDER BY id DESC LIMIT 1").fetchone()
    return str(found[0]) if found else ""


def assemble(tables: Tables) -> tuple[Entry, ...]:
    """Entries from the rows of all tables."""
    mine: dict[str, dict[int, list[Row]]] = {}
    for table, rows in tables.items():
        mine[table] = defaultdict(list)
        for row in rows:
            mine[table][row.id if isinstance(row, Booking) else row.booking].append(row)
    rest = [table for table in TABLES if table != "booking"]
    return tuple(
        Entry(booking, *(tuple(mine[table][booking.id]) for table in rest))  # type: ignore[arg-type]
        for booking in tables["booking"]
    )


def first_broken(entries: Iterable[Entry]) -> int | None:
    """Number of the first entry whose seal does not fit, None where all do."""
    before = ""
    for number, entry in enumerate(entries, 1):
        if entry.booking.id != number or entry.seal(before) != entry.booking.seal:
            return number
        before = entry.booking.seal
    return None


def sealed(entry: Entry, before: str) -> Entry:
    """The entry with its seal, hanging on the one before."""
    return replace(entry, booking=replace(entry.booking, seal=entry.seal(before)))


def add(connection: sqlite3.Connection, entry: Entry) -> None:
    """Write the rows of a sealed entry into the open transaction."""
    for table, rows in entry.rows().items():
        if rows:
            marks = ", ".join("?" * len(columns(table)))
            statement = f"INSERT INTO {table} ({', '.join(columns(table))}) VALUES ({marks})"
            connection.executemany(statement, [values(row) for row in rows])


def read_back(connection: sqlite3.Connection, number: int) -> Entry:
    """One entry as the open transaction holds it."""
    rows: Tables = {
        table: [
            made(*row)
            for row in connection.execute(_select(table, "id" if table == "booking" else "booking"), (number,))
        ]
        for table, made in TABLES.items()
    }
    return assemble(rows)[0]


def _select(table: str, where: str | None = None) -> str:
    condition = f" WHERE {where} = ?" if where else ""
    return f"SELECT {', '.join(columns(table))} FROM {table}{condition} ORDER BY id"
