"""Opening the logbook, or beginning one."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from fractionkit.errors import InputError
from fractionkit.stock import file, schema, store
from fractionkit.stock.draft import FIXED, Draft
from fractionkit.stock.ledger import Ledger
from fractionkit.stock.paths import default_path
from fractionkit.stock.stock import Stock


def open_stock(
    path: str | Path | None = None, *, create: bool = False, write: bool = True, wait: float = file.WAIT
) -> Stock:
    """Open the logbook.

    path : its file; by default the one that FRACTIONKIT_STOCK names, else the one in the user's data folder. create :
    begin one where there is none. write : False where it is only to be read. wait : s for another command that is writing.

    Raises
    ------
    InputError
        where it is missing, locked, damaged, not a logbook, of a newer version, or may not be written.
    """
    found = default_path() if path is None else Path(path)
    if os.path.islink(found):  # SQLite keeps its log beside the file itself
        found = found.resolve()
    if create and not os.path.exists(found):
        begin(found)
    file.inspect(found)
    connection = file.connect(found, lambda c: store.load(c, found), write=write, wait=wait)
    try:
        if write and schema.version_of(connection) < schema.VERSION:
            with file.transaction(connection, found):
                schema.migrate(connection)
        return Stock(found, connection)
    except BaseException:
        connection.close()
        raise


def begin(path: Path) -> None:
    """Make a new logbook with the places that every one has."""

    def fill(connection: sqlite3.Connection) -> None:
        draft = Draft(Ledger(()), "begun")
        for kind, name in FIXED:
            draft.place(kind, name)
        store.add(connection, store.sealed(draft.entry(), ""))

    try:
        file.make(path, fill)
    except InputError:
        if not os.path.exists(path):  # otherwise another command was quicker, and its logbook is as good
            raise
