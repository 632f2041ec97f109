"""Nothing confirmed is lost, writers do not hinder one another, and a backup is whole."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from fractionkit.errors import InputError
from fractionkit.stock import open_stock
from fractionkit.stock.acts import Noted
from fractionkit.stock.exchange import content_hash
from tests.stock.book import assessment

ROOT = Path(__file__).resolve().parents[2]
KILLS = 6


@pytest.fixture
def path(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as stock:
        stock.enter(assessment())
    return tmp_path / "shelf.db"


def start(path, count):
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "tests.stock.writer", str(path), str(count)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, cwd=ROOT
    )


def confirmed(text):
    return [int(line.split()[1]) for line in text.splitlines() if line.startswith("confirmed ")]


def test_kill_at_any_moment_loses_nothing_confirmed(path):
    chance = random.Random(1)
    last = 2
    for _ in range(KILLS):
        writer = start(path, 100_000)
        assert writer.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0.0, 0.15))
        writer.kill()
        told, _ = writer.communicate()
        last = max([last, *confirmed(told)])
        with open_stock(path) as stock:
            assert len(stock.ledger.entries) in (last, last + 1)  # one may be on disk and not yet confirmed
            assert stock.prove().holds
            last = len(stock.ledger.entries)
    assert last > KILLS


def test_two_writers_at_once_both_write_everything(path):
    writers = [start(path, 20) for _ in range(2)]
    told = [writer.communicate(timeout=60) for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0], told
    numbers = [number for out, _ in told for number in confirmed(out)]
    assert sorted(numbers) == list(range(3, 43))
    with open_stock(path) as stock:
        assert len(stock.ledger.entries) == 42
        assert stock.prove().holds


def test_a_new_logbook_begun_twice_at_once_is_one(tmp_path):
    path = tmp_path / "deep" / "shelf.db"
    failed = []

    def begin():
        try:
            with open_stock(path, create=True) as stock:
                stock.receive(0.1, known)
        except InputError as error:
            failed.append(error)

    from tests.stock.book import bought

    known = bought()
    threads = [threading.Thread(target=begin) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
    with open_stock(path) as stock:
        assert [held.name for held in stock.holdings()] == ["B1", "B2", "B3", "B4"]
    assert [entry.name for entry in path.parent.iterdir()] == ["shelf.db"]


def test_readers_see_the_old_state_while_another_writes(path):
    with open_stock(path) as writer, open_stock(path, write=False) as reader:
        writer._connection.execute("BEGIN IMMEDIATE")
        try:
            with open_stock(path, write=False, wait=0.1) as second:
                assert len(second.ledger.entries) == 2
            assert reader.prove().holds
        finally:
            writer._connection.execute("ROLLBACK")


def test_proof_and_backup_are_of_one_moment_while_others_write(tmp_path, path):
    with open_stock(path, write=False) as reader:
        with open_stock(path) as writer:
            writer.fill("C1")
        assert reader.prove().holds  # of what is there now, not of what was there when it was opened
        assert len(reader.ledger.entries) == 3
        writing = start(path, 100_000)
        try:
            assert writing.stdout.readline() == "ready\n"
            for turn in range(10):
                assert reader.prove().holds
                assert reader.backup(tmp_path / f"{turn}.db").entries >= 3
        finally:
            writing.kill()
            writing.communicate()


def test_a_full_disk_is_told_and_nothing_is_written(path):
    with open_stock(path) as stock:
        pages = stock._connection.execute("PRAGMA page_count").fetchone()[0]
        stock._connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(InputError, match="room on the disk; nothing was written"):
            stock.note("C1", [Noted("remark", "x" * 60_000)])
        count = len(stock.ledger.entries)
    with open_stock(path) as stock:
        assert len(stock.ledger.entries) == count
        assert stock.prove().holds


def test_a_locked_logbook_is_told_after_waiting(path):
    with open_stock(path) as first:
        first._connection.execute("BEGIN IMMEDIATE")
        with open_stock(path, wait=0.05) as second, pytest.raises(InputError, match="another command has been writing"):
            second.fill("C1")
        first._connection.execute("ROLLBACK")
    with open_stock(path) as stock:
        assert len(stock.ledger.entries) == 2


def test_an_entry_that_fails_half_way_writes_nothing(path):
    with open_stock(path) as stock:
        with pytest.raises(InputError):
            stock.combine("L1", [("C1", None), ("C2", 9.0)])
        with pytest.raises(ZeroDivisionError):
            stock.write("broken", lambda draft: draft.move(1, 7, 5) or 1 / 0)
        assert stock.fill("C1").name == "B1"
        assert len(stock.ledger.entries) == 3


def test_backup_is_whole_verified_and_never_written_over_anything(tmp_path, path):
    with open_stock(path) as stock:
        stock.fill("C1")
        made = stock.backup(tmp_path / "second.db")
        assert (made.entries, made.sha256) == (3, content_hash(stock.ledger.entries))
        with pytest.raises(InputError, match="nothing is written over"):
            stock.backup(tmp_path / "second.db")
        with pytest.raises(InputError, match="folder that may be written"):
            stock.backup(tmp_path / "none" / "second.db")
        stock.fill("C2")  # the backup is of its own
    with open_stock(tmp_path / "second.db") as second:
        assert len(second.ledger.entries) == 3
        assert second.prove().holds
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["second.db", "shelf.db"]


def test_a_backup_that_is_not_the_same_is_not_put_there(tmp_path, path, monkeypatch):
    from fractionkit.stock import backup

    seen = iter(range(9))
    monkeypatch.setattr(backup, "counts", lambda ledger: {"booking": next(seen)})
    with open_stock(path) as stock, pytest.raises(InputError, match="the copy is not what the logbook holds"):
        stock.backup(tmp_path / "second.db")
    assert [entry.name for entry in tmp_path.iterdir() if "second" in entry.name] == []


def test_a_link_is_followed_to_the_file_and_its_log(tmp_path, path, monkeypatch):
    from fractionkit.stock import file

    link = tmp_path / "folder" / "link.db"
    link.parent.mkdir()
    link.symlink_to(path)
    writer = start(link, 100_000)
    while not writer.stdout.readline().startswith("confirmed 5"):
        pass
    writer.kill()
    writer.communicate()
    assert (tmp_path / "shelf.db-wal").exists()  # what was confirmed is there, not yet in the file
    with monkeypatch.context() as patch:
        patch.setattr(file, "_folder_is_free", lambda path: False)  # as one who may only read would find it
        with open_stock(link, write=False) as stock:
            assert len(stock.ledger.entries) >= 5
    with open_stock(link, write=False) as stock:
        assert len(stock.ledger.entries) >= 5
    assert [entry.name for entry in link.parent.iterdir()] == ["link.db"]


def test_a_logbook_that_is_not_finished_is_never_there(tmp_path):
    from fractionkit.stock import file

    def fail(connection):
        connection.execute("INSERT INTO booking VALUES (1, '', '', '', '', NULL, '')")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        file.make(tmp_path / "new.db", fail)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "mine.db").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="nothing is written over"):
        file.make(tmp_path / "mine.db", lambda connection: None)
    assert (tmp_path / "mine.db").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["a b?mode=memory.db", "100%.db", "#x&y=1.db", "büch 🧪.db"])
def test_any_file_name_is_a_file_name(tmp_path, name):
    with open_stock(tmp_path / name, create=True) as stock:
        stock.enter(assessment())
    with open_stock(tmp_path / name, write=False) as stock:
        assert len(stock.ledger.entries) == 2
    assert [entry.name for entry in tmp_path.iterdir()] == [name]
