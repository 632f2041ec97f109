"""Looking up substances: by name, by the trade's synonyms, by CAS number; only the files asked for are read."""

from __future__ import annotations

import difflib
import json
import unicodedata
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from fractionkit.errors import Fault, UnknownSubstanceError
from fractionkit.substances.datafile import read_substance
from fractionkit.substances.model import SourceValue, Substance

DATA = Path(str(resources.files("fractionkit.substances"))) / "data"


def key(text: str) -> str:
    """The form under which names are compared: no case, no hyphens, commas, spaces or other marks."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return "".join(sign for sign in folded if sign.isalnum())


def slug(name: str) -> str:
    """Name of the data file without its ending: ``1,2-dichloroethane`` -> ``1_2-dichloroethane``."""
    return name.replace(",", "_").replace(" ", "-")


@lru_cache(maxsize=1)
def index() -> dict[str, Any]:
    """The index file: ``substances`` (name -> cas, synonyms) and ``ambiguous`` (text -> candidate names, note)."""
    return dict(json.loads((DATA / "index.json").read_text(encoding="utf-8")))


@lru_cache(maxsize=1)
def _keys() -> dict[str, str]:
    """Compared form of every name, synonym and CAS number -> canonical name."""
    found: dict[str, str] = {}
    for name, entry in index()["substances"].items():
        for text in (name, entry["cas"], *entry["synonyms"]):
            found[key(text)] = name
    return found


def _unknown(text: str) -> UnknownSubstanceError:
    """Say what may have been meant: the candidates of an ambiguous name, or the nearest names."""
    sought = key(text)
    for name, candidates in index()["ambiguous"].items():
        if key(name) == sought:
            return UnknownSubstanceError(Fault(text, f"one substance: say {' or '.join(candidates)}"))
    names = _keys()
    near = difflib.get_close_matches(sought, names, n=6, cutoff=0.6) if sought else []
    inside = [candidate for candidate in names if len(sought) >= 4 and sought in candidate]
    meant = list(dict.fromkeys(names[candidate] for candidate in near + inside))[:4]
    offer = f"; nearest: {', '.join(meant)}" if meant else ""
    return UnknownSubstanceError(
        Fault(text, f"a substance of the catalogue (name, usual synonym or CAS number){offer}")
    )


def canonical_name(text: str) -> str:
    """The catalogue's name for a name, synonym or CAS number; reads the index only.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names, or the candidates where the trade's name means several.
    """
    name = _keys().get(key(text)) if isinstance(text, str) else None
    if name is None:
        raise _unknown(str(text))
    return name


@lru_cache(maxsize=256)
def _read(name: str) -> Substance:
    return read_substance(DATA / f"{slug(name)}.toml")


def get(text: str) -> Substance:
    """The substance with this name, synonym or CAS number.

    Case, hyphens, commas and spaces do not matter.

    Raises
    ------
    UnknownSubstanceError
        offering the nearest names, or the candidates where the trade's name means several.
    """
    return _read(canonical_name(text))


def names() -> tuple[str, ...]:
    """The canonical names, in the order of the index; reads the index only."""
    return tuple(index()["substances"])


def catalogue() -> tuple[Substance, ...]:
    """All substances (reads every data file)."""
    return tuple(_read(name) for name in names())


def find(text: str) -> tuple[Substance, ...]:
    """All substances whose name, synonym or CAS number contains ``text``, in the order of the index."""
    sought = key(text)
    hits = {name for candidate, name in _keys().items() if sought and sought in candidate}
    return tuple(_read(name) for name in names() if name in hits)


def spread(substance: Substance | str) -> tuple[SourceValue, ...]:
    """What other sources say: (property, source, value in SI, temperature or None), from the stored table."""
    return (get(substance) if isinstance(substance, str) else substance).sources
