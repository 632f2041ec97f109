"""Cautions: hazards, limits, incompatibilities, stabilisers, law, distilling and waste, each with source and status.

The texts live in ``data/cautions``: one file a substance, and ``shared.toml`` for what holds for several. They are
reminders for people who know the trade; they are not complete, and they never tell how to make anything.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from fractionkit.substances.catalogue import DATA, canonical_name, slug

#: Kinds of caution, in the order in which they are told.
KINDS = (
    "hazard",
    "exposure limit",
    "incompatible with",
    "decomposition",
    "stabiliser",
    "distilling",
    "waste",
    "law",
)
#: How a line is known. "from memory" was not looked up again; "common practice" is a custom without a source.
CAUTION_STATUSES = ("read in a copy", "from memory", "common practice")
#: Stands for the substance in lines that hold whatever is distilled.
EVERY_CHARGE = "every charge"

Table = dict[str, Any]


@dataclass(frozen=True)
class Caution:
    """One line: whom it concerns, its kind (one of `KINDS`), the text, its source and how it is known.

    ``substance`` is a name of the catalogue, several joined with " + " (a combination), the label of a group
    ("chlorinated solvents") or `EVERY_CHARGE`.
    """

    substance: str
    kind: str
    text: str
    source: str
    status: str


@dataclass(frozen=True)
class HazardStatement:
    """One hazard statement of a substance: code, official words, and who assigns it."""

    code: str
    words: str
    basis: str
    source: str
    status: str


@dataclass(frozen=True)
class ExposureLimits:
    """Occupational limits of the United States, ppm by volume, in the abbreviations of the NIOSH Pocket Guide."""

    rel: str
    pel: str
    idlh: str
    source: str
    status: str


def _load(stem: str) -> Table:
    return tomllib.loads((DATA / "cautions" / f"{stem}.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def _shared() -> Table:
    return _load("shared")


@lru_cache(maxsize=256)
def _file(name: str) -> Table:
    return _load(slug(name))


def _source(key: str) -> str:
    return str(_shared()["sources"][key])


def _line(substance: str, entry: Table) -> Caution:
    """A line of a file; a law is told with its jurisdiction, its date and the date of the knowledge."""
    text = entry["text"]
    if "jurisdiction" in entry:
        text = f"{entry['jurisdiction']}, {entry['date']}: {text} (As of {entry['as_of']}.)"
    return Caution(substance, entry["kind"], text, _source(entry["source"]), entry["status"])


def hazard_statements(name: str) -> tuple[HazardStatement, ...]:
    """All hazard statements of a substance with their official words; empty where it is not classified.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names.
    """
    words = _shared()["statements"]
    return tuple(
        HazardStatement(code, words[code], entry["basis"], _source(entry["source"]), entry["status"])
        for entry in _file(canonical_name(name))["hazard"]
        for code in entry["codes"]
    )


def exposure_limits(name: str) -> ExposureLimits:
    """The exposure limits of a substance.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names.
    """
    entry = _file(canonical_name(name))["limit"]
    return ExposureLimits(entry["rel"], entry["pel"], entry["idlh"], _source(entry["source"]), entry["status"])


def headline(name: str) -> str:
    """The one or two sentences that matter most, for a table at the terminal.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names.
    """
    return str(_file(canonical_name(name))["headline"])


def _own(name: str) -> Iterator[Caution]:
    """The lines that belong to one substance alone."""
    data = _file(name)
    for entry in data["hazard"]:
        words = _shared()["statements"]
        told = "; ".join(f"{code} {words[code]}" for code in entry["codes"])
        basis = entry["basis"][0].upper() + entry["basis"][1:]
        yield Caution(
            name, "hazard", f"{basis}{': ' + told if told else ''}.", _source(entry["source"]), entry["status"]
        )
    limit = exposure_limits(name)
    text = f"REL {limit.rel}. PEL {limit.pel}. IDLH {limit.idlh}."
    if limit.rel == limit.pel == limit.idlh == "none":
        text = "No limit set by NIOSH or OSHA."
    yield Caution(name, "exposure limit", text, limit.source, limit.status)
    for entry in data.get("line", ()):
        yield _line(name, entry)


def _members(names: Sequence[str], group: str) -> tuple[str, ...]:
    return tuple(name for name in names if group in _file(name)["groups"])


def _groups(names: Sequence[str]) -> Iterator[Caution]:
    """The lines of the groups that are present, each said once."""
    for group, entry in _shared()["groups"].items():
        members = _members(names, group)
        if members:
            label = members[0] if len(members) == 1 else entry["label"]
            yield from (_line(label, line) for line in entry["line"])


def _combinations(names: Sequence[str]) -> Iterator[Caution]:
    """The lines that hold because certain substances stand in the same sheet."""
    for entry in _shared()["combination"]:
        found: list[tuple[str, ...]] = []
        for choices in entry["of"]:
            hits: list[str] = []
            for choice in choices:
                group = choice.removeprefix("group:")
                hits += _members(names, group) if group != choice else [n for n in names if n == choice]
            found.append(tuple(hits))
        members = list(dict.fromkeys(name for hits in found for name in hits))
        # A flammable chlorinated solvent alone answers both lists; it takes two substances to make a combination.
        if all(found) and len(members) >= len(found):
            yield _line(" + ".join(members), entry)


def cautions(names: Sequence[str]) -> tuple[Caution, ...]:
    """All cautions for the substances of a sheet, each line once.

    Parameters
    ----------
    names
        names, synonyms or CAS numbers.

    Returns
    -------
    tuple of Caution
        in this order: what holds for every charge, combinations in the sheet, groups (chlorinated solvents,
        flammable liquids, ...), then each substance in the order of ``names``.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names.
    """
    known = tuple(dict.fromkeys(canonical_name(name) for name in ([names] if isinstance(names, str) else names)))
    lines = [_line(EVERY_CHARGE, entry) for entry in _shared()["general"]]
    lines += _combinations(known)
    lines += _groups(known)
    for name in known:
        lines += _own(name)
    return tuple(dict.fromkeys(lines))
