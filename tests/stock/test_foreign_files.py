"""What is no whole logbook is refused and left as it is; a whole one refuses changes from outside."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from pathlib import Path

import pytest

from fractionkit.errors import InputError
from fractionkit.stock import open_stock, schema
from tests.stock.book import assessment


@pytest.fixture
def path(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as stock:
        stock.enter(assessment())
    return tmp_path / "shelf.db"


def foreign(path):
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE booking (id INTEGER PRIMARY KEY)")
    connection.close()


def cut_short(path, source):
    path.write_bytes(source.read_bytes()[:-5000])


def newer(path, source):
    shutil.copy(source, path)
    change(path, f"PRAGMA user_version = {schema.VERSION + 1}")


def change(path, *statements):
    """Do to a file what no command would: from outside, with its guards taken away meanwhile."""
    connection = sqlite3.connect(path)
    guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    for _, sql in guards:
        connection.execute(sql)
    connection.commit()
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def altered(path, source):
    shutil.copy(source, path)
    change(path, "UPDATE movement SET mass = mass + 1000000 WHERE id = 3")


def row_lost(path, source):
    shutil.copy(source, path)
    change(path, "DELETE FROM movement WHERE id = 4")


def entry_lost(path, source):
    shutil.copy(source, path)
    with open_stock(path) as stock:
        stock.fill("C1")
    tables = ("movement", "place", "booking")
    change(path, *(f"DELETE FROM {table} WHERE {'id' if table == 'booking' else 'booking'} = 2" for table in tables))


def guard_lost(path, source):
    shutil.copy(source, path)
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER movement_update")
    connection.close()


def page_overwritten(path, source):
    data = bytearray(source.read_bytes())
    data[4096 * 2 : 4096 * 3] = os.urandom(4096)
    path.write_bytes(data)


def bit_flipped(path, source):
    """One bit, in the draws of an origin: SQLite itself would not notice."""
    data = bytearray(source.read_bytes())
    connection = sqlite3.connect(f"file:{source}?mode=ro", uri=True)
    draws = connection.execute("SELECT draws FROM origin WHERE id = 3").fetchone()[0]
    connection.close()
    data[data.index(draws[:64])] ^= 1
    path.write_bytes(data)


def table_lost(path, source):
    shutil.copy(source, path)
    connection = sqlite3.connect(path)
    connection.execute("DROP TABLE reading")
    connection.close()


FOREIGN = {
    "a text": lambda path, _: path.write_text("cut,mass\nC1,5\n" * 40, encoding="utf-8"),
    "an empty file": lambda path, _: path.write_bytes(b""),
    "bytes of nothing": lambda path, _: path.write_bytes(b"\0" * 5000),
    "another database": lambda path, _: foreign(path),
    "cut short": cut_short,
    "only a head": lambda path, source: path.write_bytes(source.read_bytes()[:100]),
    "a newer version": newer,
    "a changed row": altered,
    "a lost row": row_lost,
    "a lost entry": entry_lost,
    "a page of noise": page_overwritten,
    "a flipped bit": bit_flipped,
    "a lost table": table_lost,
    "a lost guard": guard_lost,
}


@pytest.mark.parametrize("kind", FOREIGN)
@pytest.mark.parametrize("write", [True, False])
def test_what_is_no_whole_logbook_is_refused_and_left_as_it_is(tmp_path, path, kind, write):
    odd = tmp_path / "odd.db"
    FOREIGN[kind](odd, path)
    before = odd.read_bytes()
    with pytest.raises(InputError, match=r"left as it is") as caught:
        open_stock(odd, write=write, create=True)
    assert str(odd) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert odd.read_bytes() == before


def test_missing_folder_and_read_only(tmp_path, path):
    with pytest.raises(InputError, match="there is none yet"):
        open_stock(tmp_path / "none.db")
    assert not (tmp_path / "none.db").exists()
    with pytest.raises(InputError, match="not a folder"):
        open_stock(tmp_path)
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="folder that may be written"):
        open_stock(tmp_path / "file" / "shelf.db", create=True)


@pytest.fixture
def nobody():
    """Root may write anywhere: become somebody who may not, where the system lets us."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        os.seteuid(65534)
        yield
        os.seteuid(0)
    else:
        yield


@pytest.fixture
def locked_folder(path):
    folder = Path(tempfile.mkdtemp())
    shutil.copy(path, folder / "shelf.db")
    (folder / "shelf.db").chmod(0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_folder_that_may_not_be_written_can_be_read(locked_folder, nobody):
    path = locked_folder / "shelf.db"
    with open_stock(path, write=False) as stock:
        assert len(stock.holdings()) == 5
    with pytest.raises(InputError, match="a logbook that may be written"):
        open_stock(path)
    with pytest.raises(InputError, match="a folder that may be written"):
        open_stock(locked_folder / "new.db", create=True)
    assert [entry.name for entry in locked_folder.iterdir()] == ["shelf.db"]


@pytest.mark.parametrize("table", ["booking", "batch", "place", "origin", "movement"])
def test_the_file_itself_refuses_changes(path, table):
    connection = sqlite3.connect(path)
    for statement in (f"UPDATE {table} SET id = id + 100", f"DELETE FROM {table}"):
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            connection.execute(statement)
    connection.close()


def test_a_mass_that_is_no_whole_positive_number_is_refused_by_the_file(path):
    connection = sqlite3.connect(path)
    for mass in ("0", "-5", "1.5", "'much'", "NULL"):
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute(f"INSERT INTO movement VALUES (99, 1, 1, 3, {mass}, NULL)")
    connection.close()
