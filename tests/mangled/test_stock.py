"""Exports of the logbook, and its file itself, mangled: taken in whole, or refused with a message."""

from __future__ import annotations

import json
import random
import shutil

import pytest

from fractionkit.errors import InputError
from fractionkit.stock import exchange, open_stock
from tests.mangled.mangle import mangle
from tests.stock.book import assessment

ODD = (None, True, -1, 0, 1e308, float("inf"), 2**70, "", "é", [], {}, [1], "nan", "9" * 400, 3.5)
SEEDS = 60


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    """A small logbook, shelf.db, with its exports: export/ and export.json."""
    folder = tmp_path_factory.mktemp("shelf")
    with open_stock(folder / "shelf.db", create=True) as stock:
        stock.enter(assessment(count=64))
        stock.fill("C4", 0.1, "B1")
        stock.undo()
        exchange.export_csv(stock.ledger, folder / "export")
        exchange.export_json(stock.ledger, folder / "export.json")
    return folder


def odd_somewhere(told, chance: random.Random):
    """The document with one spot of it replaced, left out, or there twice."""
    if isinstance(told, dict) and told and chance.random() < 0.93:
        key = chance.choice(list(told))
        if chance.random() < 0.08:
            return {name: value for name, value in told.items() if name != key}
        return {**told, key: odd_somewhere(told[key], chance)}
    if isinstance(told, list) and told and chance.random() < 0.93:
        place = chance.randrange(len(told))
        way = chance.random()
        middle = [] if way < 0.1 else [told[place]] * 2 if way < 0.15 else [odd_somewhere(told[place], chance)]
        return [*told[:place], *middle, *told[place + 1 :]]
    return chance.choice(ODD)


def test_mangled_exports(shelf, tmp_path):
    document = json.loads((shelf / "export.json").read_text(encoding="utf-8"))
    whole = exchange.content_hash(exchange.import_from(shelf / "export.json", tmp_path / "whole.db").entries)
    refused = []
    for seed in range(SEEDS):
        chance = random.Random(seed)
        made = tmp_path / f"{seed}.db"
        if seed % 2:
            source = tmp_path / f"{seed}"
            shutil.copytree(shelf / "export", source)
            mangle(chance.choice(sorted(source.iterdir())), seed)
        else:
            source = tmp_path / f"{seed}.json"
            source.write_text(json.dumps(odd_somewhere(document, chance)), encoding="utf-8")
        try:
            ledger = exchange.import_from(source, made)
        except InputError as error:
            refused.append((seed, error.faults, made.exists()))
        else:
            assert exchange.content_hash(ledger.entries) == whole, seed  # it said the same in another way
    for seed, faults, left in refused:
        assert all(fault.expected and fault.file for fault in faults), (seed, faults)
        assert not left, seed
    assert len(refused) > SEEDS // 2


def test_a_mangled_logbook(shelf, tmp_path):
    data = (shelf / "shelf.db").read_bytes()
    path = tmp_path / "mangled.db"
    refused = []
    for seed in range(SEEDS):
        chance = random.Random(seed)
        made = bytearray(data)
        for _ in range(chance.choice((1, 3, 20))):
            made[chance.randrange(len(made))] = chance.randrange(256)
        path.write_bytes(made[: chance.randrange(len(made))] if chance.random() < 0.2 else made)
        try:
            with open_stock(path) as stock:
                assert stock.prove().holds, seed
        except InputError as error:
            refused.append((seed, error.faults))
        for scrap in tmp_path.glob("mangled.db*"):
            scrap.unlink()
    for seed, faults in refused:
        assert all(str(path) in str(fault) for fault in faults), (seed, faults)
    assert len(refused) > SEEDS // 3
