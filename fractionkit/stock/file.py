"""Opening the logbook's file: made whole or not at all, refused untouched where it is damaged or something else.

A file is first looked at byte by byte, then through a connection that may only read; only a logbook that passes both is
opened for writing. Writes are one transaction each, write-ahead logged and on disk before they are confirmed.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from fractionkit.errors import Fault, InputError
from fractionkit.stock import schema

_MAGIC = b"SQLite format 3\0"
_HEADER = 100  # bytes; https://www.sqlite.org/fileformat.html, 1.3
WAIT = 10.0  # s for another command that is writing
_OTHER_TOOL = "a logbook of this tool; the file is left as it is"


def refuse(path: Path, expected: str, found: str | None = None) -> InputError:
    """The error that names the file."""
    return InputError(Fault(found, expected, file=str(path)))


def inspect(path: Path) -> None:
    """Look at a file without opening it as a database.

    Raises
    ------
    InputError
        where it is missing, a folder, or no logbook.
    """
    if os.path.isdir(path):
        raise refuse(path, "the file of the logbook, not a folder")
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEADER)
    except FileNotFoundError:
        raise refuse(path, "the logbook; there is none yet: stock enter and stock receive begin one") from None
    except OSError as error:
        raise refuse(path, f"a file that can be read ({error.strerror})") from None
    if len(head) < _HEADER or not head.startswith(_MAGIC):
        raise refuse(path, _OTHER_TOOL, "another kind of file" if head else "an empty file")
    if int.from_bytes(head[68:72], "big") != schema.APPLICATION_ID:
        raise refuse(path, _OTHER_TOOL, "the database of another program")


def check_version(path: Path, version: int) -> None:
    """Refuse tables that this version of the tool does not know."""
    if version > schema.VERSION:
        expected = f"version {schema.VERSION} or older; bring fractionkit up to date, the file is left as it is"
        raise refuse(path, expected, f"a logbook of version {version}")


def damaged(path: Path, how: str) -> InputError:
    """The error of a file that cannot be trusted."""
    return refuse(path, f"a whole logbook ({how}); the file is left as it is, go back to a backup", "a damaged file")


def _log(path: Path) -> Path:
    """The write-ahead log, which is there while somebody has the file open, or was killed."""
    return path.with_name(path.name + "-wal")


@contextmanager
def trouble(path: Path) -> Iterator[None]:
    """Turn what SQLite says of a file into one message."""
    try:
        yield
    except sqlite3.OperationalError as error:
        text = str(error)
        if "locked" in text or "busy" in text:
            expected = "a logbook that is free; another command has been writing to it all the while: try again"
        elif "full" in text:
            expected = "room on the disk; nothing was written"
        elif "no such" in text:
            raise damaged(path, text) from None
        else:
            expected = f"a logbook in a folder that may be written ({text})"
        raise refuse(path, expected) from None
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise damaged(path, str(error)) from None


Verify = Callable[[sqlite3.Connection], object]


def connect(path: Path, verify: Verify, *, write: bool, wait: float = WAIT) -> sqlite3.Connection:
    """An open connection to a file that `inspect` has passed; close it.

    ``verify`` reads the content and raises where it is not as it was written; that is done before anything may be written.

    Raises
    ------
    InputError
        where it is damaged, locked for longer than ``wait`` seconds, or may not be written.
    """
    if write:
        _check_writable(path)
    _examine(path, verify, wait)
    with trouble(path):
        if not write and not _folder_is_free(path):
            return _open(_reading(path, alone=not _log(path).exists()), wait)
        connection = _open(f"{_uri(path)}?mode=rw", wait)  # one that only reads would leave its log beside the file
        connection.execute("PRAGMA journal_mode = WAL" if write else "PRAGMA query_only = ON")
        return connection


def _examine(path: Path, verify: Verify, wait: float) -> None:
    """Look through the whole file without touching it.

    Without a log nobody has it open, and it can be read as it lies. Should somebody open it meanwhile and what is read
    make no sense for that reason, a log is there then, and it is read again with all locks.
    """
    alone = not _log(path).exists()
    try:
        _look_through(path, verify, wait, alone=alone)
    except InputError:
        if not alone or not _log(path).exists():
            raise
        _look_through(path, verify, wait, alone=False)


def _look_through(path: Path, verify: Verify, wait: float, *, alone: bool) -> None:
    with trouble(path), closing(_open(_reading(path, alone=alone), wait)) as connection:
        check_version(path, schema.version_of(connection))
        found = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
        if found != "ok":
            raise damaged(path, " ".join(found.split()))
        verify(connection)


def _check_writable(path: Path) -> None:
    for place, what in ((path, "a logbook"), (path.parent, "a logbook in a folder")):
        if not os.access(place, os.W_OK, effective_ids=os.access in os.supports_effective_ids):
            raise refuse(path, f"{what} that may be written")


def _uri(path: Path) -> str:
    """The path as SQLite wants it; a question mark or a per cent sign in a name must not steer it."""
    return "file:" + quote(str(path.absolute()))


def _reading(path: Path, *, alone: bool) -> str:
    return f"{_uri(path)}?mode=ro{'&immutable=1' if alone else ''}"


def _folder_is_free(path: Path) -> bool:
    return all(
        os.access(end, os.W_OK, effective_ids=os.access in os.supports_effective_ids) for end in (path, path.parent)
    )


def _open(uri: str, wait: float) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, timeout=wait, isolation_level=None)
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA trusted_schema = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def transaction(connection: sqlite3.Connection, path: Path) -> Iterator[None]:
    """All or nothing; the lock is taken at once, so that what is read inside stays true until the end."""
    with trouble(path):
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


@contextmanager
def snapshot(connection: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Everything that is read inside is of one moment, though others write meanwhile."""
    if connection.in_transaction:
        yield
        return
    with trouble(path):
        connection.execute("BEGIN")
        try:
            yield
        finally:
            connection.execute("ROLLBACK")


def make(path: Path, fill: Callable[[sqlite3.Connection], None]) -> None:
    """Make a logbook beside its place, let ``fill`` write into it, then put it there whole.

    Raises
    ------
    InputError
        where something stands there already, or the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        os.close(handle)
    except OSError as error:
        raise refuse(path, f"a folder that may be written ({error.strerror})") from None
    made = Path(scratch)
    try:
        with trouble(path), closing(_open(f"{_uri(made)}?mode=rwc", WAIT)) as connection:
            connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            with transaction(connection, path):
                schema.migrate(connection)
                fill(connection)
            connection.execute("PRAGMA journal_mode = WAL")
        place(made, path)
    finally:
        for scrap in (made, *(made.with_name(made.name + end) for end in ("-wal", "-shm", "-journal"))):
            scrap.unlink(missing_ok=True)


def place(made: Path, path: Path) -> None:
    """Give a whole file its name in one step, without ever putting it over another."""
    umask = os.umask(0)
    os.umask(umask)
    made.chmod(0o666 & ~umask)
    with made.open("rb+") as stream:
        os.fsync(stream.fileno())
    try:
        try:
            os.link(made, path)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if os.path.exists(path):
                raise FileExistsError from None
            os.rename(made, path)
    except FileExistsError:
        raise refuse(path, "a new file; nothing is written over") from None
    except OSError as error:
        raise refuse(path, f"a file that can be written ({error.strerror})") from None
    _settle(path.parent)


def _settle(folder: Path) -> None:
    """Have the folder's new name on disk too, where the system knows such a thing."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
