"""Older files are brought up to date, whole or not at all; steps that were released stay as they were."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import pytest

from fractionkit.errors import InputError
from fractionkit.stock import open_stock, schema
from fractionkit.stock.exchange import content_hash
from tests.stock.book import assessment

FIRST = Path(__file__).with_name("version_1.sql")


@pytest.fixture
def old(tmp_path):
    connection = sqlite3.connect(tmp_path / "old.db")
    connection.executescript(FIRST.read_text(encoding="utf-8"))
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    return tmp_path / "old.db"


def version(path):
    connection = sqlite3.connect(path)
    try:
        return schema.version_of(connection)
    finally:
        connection.close()


def tables(path):
    connection = sqlite3.connect(path)
    try:
        return connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name").fetchall()
    finally:
        connection.close()


def test_version_1_is_brought_up_to_date_with_all_that_it_holds(tmp_path, old):
    with open_stock(old, write=False) as stock:  # reading leaves it as it is
        before = content_hash(stock.ledger.entries)
        assert {held.name: round(1000 * held.mass, 6) for held in stock.holdings()} == {"B1": 300.0, "B2": 200.0}
    assert version(old) == 1
    with open_stock(old) as stock:
        assert content_hash(stock.ledger.entries) == before
        assert stock.prove().holds
        stock.enter(assessment())
    assert version(old) == schema.VERSION
    open_stock(tmp_path / "new.db", create=True).close()
    assert tables(old) == tables(tmp_path / "new.db")


def test_a_step_that_fails_leaves_the_old_version(old, monkeypatch):
    monkeypatch.setattr(
        schema, "STEPS", (schema.STEPS[0], "CREATE TABLE half (id INTEGER);\nCREATE TABLE booking (id);\n")
    )
    with pytest.raises(InputError):
        open_stock(old)
    assert version(old) == 1
    assert "half" not in [name for name, _ in tables(old)]


def test_a_damaged_old_file_is_not_brought_up_to_date(old):
    connection = sqlite3.connect(old)
    guard = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'booking_update'").fetchone()[0]
    connection.executescript(f"DROP TRIGGER booking_update; UPDATE booking SET note = 'else' WHERE id = 2; {guard};")
    connection.close()
    before = old.read_bytes()
    with pytest.raises(InputError, match="entry 2 is not as it was written"):
        open_stock(old)
    assert old.read_bytes() == before


#: SHA-256 of each released step: a step that was released must never change, since files were made by it.
RELEASED = (
    "20bb937ea921e6cc53ad0ec14d64e402c2fb8113477ba2fdbfacf359a5fcb892",
    "66b287aa338f93834c28df55f2e3c1533e824b35546b3387e83b64175984017a",
)


def test_released_steps_are_as_they_were():
    found = tuple(hashlib.sha256(step.encode()).hexdigest() for step in schema.STEPS)
    assert found[: len(RELEASED)] == RELEASED
    assert len(found) == schema.VERSION == len(RELEASED)
