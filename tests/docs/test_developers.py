"""DEVELOPERS.md keeps up: its list of rooms is the packages, in the order of the contract; every dependency has its reason."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def rooms() -> list[str]:
    part = TEXT.partition("## Rooms")[2].partition("\n## ")[0]
    cells = re.findall(r"^\| (`.*?`) \|", part, re.MULTILINE)
    return [name for cell in cells for name in re.findall(r"`(\w+)(?:/|\.py)`", cell)]


def test_every_room_is_listed():
    package = ROOT / "fractionkit"
    found = {path.parent.name for path in package.glob("*/__init__.py")}
    found |= {path.stem for path in package.glob("*.py") if path.stem != "__init__"}
    assert sorted(rooms()) == sorted(found)


def test_rooms_stand_in_the_order_of_the_contract():
    contract = next(c for c in PROJECT["tool"]["importlinter"]["contracts"] if c["type"] == "layers")
    layers = [name.strip() for layer in contract["layers"] for name in re.split(r"[|:]", layer)]
    order = rooms()
    places = [order.index(name.removeprefix("fractionkit.")) for name in layers]
    assert places == sorted(places)


def test_every_dependency_has_its_reason():
    part = TEXT.partition("## Why each dependency")[2].partition("\n## ")[0]
    explained = {
        name for cell in re.findall(r"^\| ([^|]*?) \|", part, re.MULTILINE) for name in re.findall(r"[\w-]+", cell)
    }
    declared = [*PROJECT["project"]["dependencies"], *PROJECT["project"]["optional-dependencies"]["test"]]
    missing = {re.split(r"[<>=]", name)[0] for name in declared} - explained
    assert missing == set()


def test_files_and_folders_that_are_named_exist():
    for path in set(re.findall(r"`((?:tests|data|fractionkit|notebooks)/[\w./-]+)`", TEXT)):
        inside = ROOT / "fractionkit" / "substances" / path  # data/ of the catalogue, in the paragraph on a substance
        assert (ROOT / path).exists() or inside.exists(), path
