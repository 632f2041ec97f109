"""What a command costs grows with the number of entries, and no faster: ratios of processor time, never seconds."""

from __future__ import annotations

import time

from fractionkit.stock import open_stock, store
from fractionkit.stock.rows import Booking, Entry, Movement
from tests.stock.book import assessment


def logbook(path, count):
    """A logbook with ``count`` pours to and fro, written in one transaction to save time."""
    with open_stock(path, create=True) as stock:
        stock.enter(assessment())
        ids, before = stock.ledger.names(), stock.ledger.seal
        ends = [ids["R1/C1"], ids["R1/C2"]]
        first, last = len(stock.ledger.entries), stock.ledger.last("movement")
        stock._connection.execute("BEGIN")
        for turn in range(1, count + 1):
            ends.reverse()
            booking = Booking(first + turn, "2026-01-01T00:00:00+00:00", "2026-01-01", "poured", "", None)
            movement = Movement(last + turn, first + turn, *ends, 1000)
            entry = store.sealed(Entry(booking, movements=(movement,)), before)
            before = entry.booking.seal
            store.add(stock._connection, entry)
        stock._connection.execute("COMMIT")
    return path


def cost(path):
    """Processor time of opening and looking at the shelf, the least of three."""

    def once():
        start = time.process_time()
        with open_stock(path, write=False) as stock:
            assert len(stock.holdings()) == 5
        return time.process_time() - start

    return min(once() for _ in range(3))


def test_cost_is_linear(tmp_path):
    few, many = (cost(logbook(tmp_path / f"{count}.db", count)) for count in (500, 2500))
    assert many < 2.5 * 5 * few
