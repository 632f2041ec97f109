"""A second file that holds the same: written beside its place, verified, then put there whole."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from fractionkit.stock import file, schema, store
from fractionkit.stock.exchange import content_hash, counts
from fractionkit.stock.ledger import Ledger


@dataclass(frozen=True)
class Backup:
    """What a backup holds, compared with the logbook: entries, rows of all tables, bytes, SHA-256 of the content."""

    path: Path
    entries: int
    rows: int
    size: int
    sha256: str


def backup(connection: sqlite3.Connection, source: Path, path: Path) -> Backup:
    """Copy an open logbook to a new file while others may go on writing, and verify the copy.

    Raises
    ------
    InputError
        where something stands there already, the folder cannot be written, or the copy is not what it should be.
    """
    if os.path.exists(path):
        raise file.refuse(path, "a new file; nothing is written over")
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        os.close(handle)
    except OSError as error:
        raise file.refuse(path, f"a folder that may be written ({error.strerror})") from None
    made = Path(scratch)
    try:
        ledger = _copy(connection, source, made)
        size = made.stat().st_size
        file.place(made, path)
    finally:
        for scrap in (made, *(made.with_name(made.name + end) for end in ("-wal", "-shm", "-journal"))):
            scrap.unlink(missing_ok=True)
    return Backup(path, len(ledger.entries), sum(counts(ledger).values()), size, content_hash(ledger.entries))


def _copy(connection: sqlite3.Connection, source: Path, made: Path) -> Ledger:
    """Copy in one read transaction, so that what is compared is what was copied."""
    with file.trouble(source), closing(sqlite3.connect(made, isolation_level=None)) as copy:
        with file.snapshot(connection, source):
            original = store.load(connection, source)
            connection.backup(copy)
        copy.execute("PRAGMA journal_mode = WAL")
        whole = [str(row[0]) for row in copy.execute("PRAGMA integrity_check")] == ["ok"]
        loose = copy.execute("PRAGMA foreign_key_check").fetchall()
        mine = copy.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
        copied = store.load(copy, made)
        same = counts(copied) == counts(original) and content_hash(copied.entries) == content_hash(original.entries)
    if not (whole and mine and same and not loose):
        raise file.damaged(made, "the copy is not what the logbook holds")
    return copied
