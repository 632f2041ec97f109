"""The logbook as a folder of CSV tables or one JSON file, and back again: identical, or refused."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import sqlite3
import tempfile
import types
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from fractionkit.errors import Fault, InputError
from fractionkit.files import write_text
from fractionkit.stock import cells, file, store
from fractionkit.stock.ledger import Ledger
from fractionkit.stock.rows import TABLES, Entry, Row, columns, values

FORMAT = "fractionkit/stock-export/1"
MANIFEST = "stock.json"


def content_hash(entries: tuple[Entry, ...]) -> str:
    """SHA-256 of everything: the seals cover all rows, and their order is that of the entries."""
    return hashlib.sha256("".join(entry.booking.seal for entry in entries).encode("ascii")).hexdigest()


def counts(ledger: Ledger) -> dict[str, int]:
    """Number of rows of every table."""
    return {table: sum(len(entry.rows()[table]) for entry in ledger.entries) for table in TABLES}


def export_json(ledger: Ledger, path: Path) -> None:
    """Write everything into one JSON file; bytes are base64."""
    tables = {table: [_record(row) for row in rows] for table, rows in _tables(ledger).items()}
    write_text(path, json.dumps({**_manifest(ledger), "tables": tables}, ensure_ascii=False, indent=1) + "\n")


def export_csv(ledger: Ledger, folder: Path) -> None:
    """Write a folder with one CSV file a table and stock.json, which says what belongs there; whole or not at all.

    Raises
    ------
    InputError
        where the folder is there already, or cannot be made.
    """
    if os.path.exists(folder):
        raise InputError(Fault(str(folder), "a new folder; nothing is written over"))
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
    except OSError as error:
        raise InputError(Fault(str(folder), f"a folder that may be written ({error.strerror})")) from None
    try:
        for table, rows in _tables(ledger).items():
            write_text(scratch / f"{table}.csv", _csv(table, rows))
        write_text(scratch / MANIFEST, json.dumps(_manifest(ledger), indent=1) + "\n")
        scratch.chmod(0o755)
        os.rename(scratch, folder)
    except OSError as error:
        raise InputError(Fault(str(folder), f"a folder that can be made ({error.strerror})")) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def import_from(source: Path, path: Path) -> Ledger:
    """Make a new logbook at ``path`` from an export, a JSON file or a folder; it is checked before it is put there.

    Raises
    ------
    InputError
        where the export is not whole or was changed, or something stands at ``path`` already.
    """
    if os.path.exists(path):
        raise file.refuse(path, "a new file; nothing is written over")
    ledger = _read(source)

    def fill(connection: sqlite3.Connection) -> None:
        for entry in ledger.entries:
            store.add(connection, entry)

    file.make(path, fill)
    return ledger


def _read(source: Path) -> Ledger:
    try:
        told, tables = _from_folder(source) if os.path.isdir(source) else _from_json(source)
    except OSError as error:
        raise InputError(Fault(None, f"an export that can be read ({error.strerror})", str(source))) from None
    entries = store.assemble(tables)
    ledger = Ledger(entries)
    broken = store.first_broken(entries)
    if broken is not None or told.get("sha256") != content_hash(entries) or told.get("counts") != counts(ledger):
        at = f", entry {broken}" if broken is not None else ""
        raise InputError(Fault(f"changed or incomplete{at}", "an export as it was written", str(source)))
    ledger.state()
    return ledger


def _from_json(source: Path) -> tuple[Mapping[str, Any], store.Tables]:
    told = _manifest_of(source)
    tables = told.get("tables")
    if not isinstance(tables, Mapping) or not all(isinstance(tables.get(table, []), list) for table in TABLES):
        raise InputError(
            Fault(None, f"an export of the logbook, with its tables (or the folder of {MANIFEST})", str(source))
        )
    return told, {table: [_row(table, row, source) for row in tables.get(table, [])] for table in TABLES}


def _from_folder(source: Path) -> tuple[Mapping[str, Any], store.Tables]:
    told = _manifest_of(source / MANIFEST)
    tables: store.Tables = {}
    for table in TABLES:
        path = source / f"{table}.csv"
        with path.open(encoding="utf-8-sig", newline="") as stream:
            read = csv.DictReader(stream, strict=True)
            try:
                tables[table] = [_row(table, _typed(table, row), path) for row in read]
            except (csv.Error, UnicodeDecodeError) as error:
                raise InputError(Fault(None, f"a CSV table as it was written ({error})", str(path))) from None
    return told, tables


def _manifest_of(path: Path) -> Mapping[str, Any]:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, Mapping) or told.get("format") != FORMAT:
        raise InputError(Fault(None, f"an export of the logbook ({FORMAT})", str(path)))
    return told


def _manifest(ledger: Ledger) -> dict[str, Any]:
    return {"format": FORMAT, "counts": counts(ledger), "sha256": content_hash(ledger.entries)}


def _tables(ledger: Ledger) -> dict[str, list[Row]]:
    return {table: [row for entry in ledger.entries for row in entry.rows()[table]] for table in TABLES}


def _record(row: Row) -> dict[str, Any]:
    pairs = zip((column.name for column in fields(row)), values(row), strict=True)
    return {name: cells.cell(value) if isinstance(value, bytes) else value for name, value in pairs}


def _csv(table: str, rows: list[Row]) -> str:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n", quoting=csv.QUOTE_ALL)  # as RFC 4180 wants it
    writer.writerow(columns(table))
    writer.writerows([cells.cell(value) for value in values(row)] for row in rows)
    return stream.getvalue()


def _kinds(table: str) -> dict[str, type]:
    """Column -> the type of what is in it besides None."""
    kinds: dict[str, type] = {}
    for name, hint in get_type_hints(TABLES[table]).items():
        options = get_args(hint) if get_origin(hint) is types.UnionType else (hint,)
        plain = [option for option in options if option is not type(None)]
        kinds[name] = plain[0] if isinstance(plain[0], type) else str
    return kinds


def _typed(table: str, row: Mapping[str | Any, Any]) -> dict[str, Any]:
    """The cells of a CSV row as values; a figure that is none stays a text, which `_row` refuses."""
    found: dict[str, Any] = {}
    for name, kind in _kinds(table).items():
        written = row.get(name)
        if not isinstance(written, str):
            continue
        try:
            if kind is str:
                found[name] = cells.text(written)
            elif kind is bytes:
                found[name] = written
            else:
                found[name] = kind(written) if written else None
        except ValueError:
            found[name] = written
    return found


def _row(table: str, record: Any, source: Path) -> Row:
    """A row from its record; every column must be there, and of its type."""
    kinds = _kinds(table)
    if not isinstance(record, Mapping) or set(record) != set(kinds):
        raise InputError(Fault(None, f"rows of {table} with the columns {', '.join(kinds)}", str(source)))
    made = {name: _value(record[name], kind, table, name, source) for name, kind in kinds.items()}
    row: Row = TABLES[table](**made)
    return row


def _value(value: Any, kind: type, table: str, name: str, source: Path) -> Any:
    if kind is bytes and isinstance(value, str):
        try:
            value = cells.data(value)
        except ValueError:
            value = None
    right = value is None or (isinstance(value, kind) and not isinstance(value, bool))
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        value, right = float(value), True
    if not right or (kind is bytes and value is None):
        raise InputError(
            Fault(str(value), f"a {kind.__name__} as it was written", str(source), column=f"{table}.{name}")
        )
    return value
