"""run.toml: text to sections, every fault noted with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fractionkit.errors import UnknownSubstanceError
from fractionkit.sheets.faults import Faults, nearest
from fractionkit.sheets.locate import Lines
from fractionkit.sheets.sections import RunFile, StemSection

M = TypeVar("M", bound=BaseModel)

_CURLY = re.compile("[\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb]")
_ANY_DATE = re.compile(r"=\s*\d{1,4}[./-]\d{1,2}[./-]\d{1,4}\s*(?:#.*)?$")
_STAYS = re.compile(r"\b(?:oil|grease|fat|wax|resin|rosin|paint|tar|polymer|sludge|dirt)s?\b", re.IGNORECASE)


class RunSheet:
    """The sections of one run.toml. A value at fault is left out of its section, so that the rest can be read."""

    sections: ClassVar[type[BaseModel]] = RunFile

    def __init__(self, text: str, faults: Faults) -> None:
        self.faults = faults
        self.lines = Lines(text)
        self.raw = _load(text, faults)
        self.readable = self.raw is not None
        for key in self.raw or {}:
            if key not in self.sections.model_fields:
                expected = f"a section out of {_listed(self.sections)}{nearest(key, self.sections.model_fields)}"
                self.faults.add(key, expected, row=self.lines.of(key), column=f"[{key}]")

    def section(self, name: str, model: type[M]) -> M:
        """The section, empty where it is not given or not a section."""
        raw = (self.raw or {}).get(name, {})
        if not isinstance(raw, Mapping):
            self.fault(f"a section, [{name}] on a line of its own, its keys below", name, value=raw)
            raw = {}
        return self._validated(raw, model, (name,))

    def repeated(self, name: str, model: type[M]) -> Iterator[tuple[int, M]]:
        """Each ``[[name]]`` with its number, counted from 0."""
        raw = (self.raw or {}).get(name, [])
        if not isinstance(raw, list) or not all(isinstance(entry, Mapping) for entry in raw):
            self.fault(f"sections [[{name}]], in double brackets", name, value=raw)
            return
        for index, entry in enumerate(raw):
            yield index, self._validated(entry, model, (name, index))

    def given(self, *path: str | int) -> bool:
        """Whether the sheet has this section or key at all, right or wrong."""
        return self.typed(*path) is not None

    def typed(self, *path: str | int) -> Any:
        """What stands at a place, as the TOML reader gives it; None where nothing does."""
        found: Any = self.raw
        for part in path:
            inside = (
                part in found if isinstance(found, Mapping) else isinstance(found, list) and part in range(len(found))
            )
            if not inside:
                return None
            found = found[part]
        return found

    def fault(self, expected: str, *path: str | int, value: object = None) -> None:
        """Note a fault at a place of the sheet."""
        self.faults.add(value, expected, row=self.lines.of(*path), column=_column(path))

    def substance(self, name: str, *path: str | int) -> str | None:
        """The catalogue's name of what a person wrote; None, and a fault noted, where it has no such substance."""
        # Imported here: the catalogue of substances is read only when a name is looked up.
        from fractionkit.substances import canonical_name

        try:
            return canonical_name(name)
        except UnknownSubstanceError as error:
            for fault in error.faults:
                self.fault(fault.expected + _about(name, fault.expected), *path, value=name)
        return None

    def _validated(self, raw: Mapping[str, Any], model: type[M], path: tuple[str | int, ...]) -> M:
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            details = error.errors(include_url=False)
        for detail in details:
            self.fault(_expected(detail, model), *path, *detail["loc"], value=_value(detail))
        wrong = {detail["loc"][0] for detail in details if detail["loc"]}
        return model.model_validate({key: value for key, value in raw.items() if key not in wrong})


def _load(text: str, faults: Faults) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except RecursionError:
        faults.add(None, "TOML with fewer brackets inside each other")
    except ValueError as error:  # TOMLDecodeError, and the int of more digits than Python reads
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", str(error))
        lines = text.split("\n")
        row = int(place[1]) if place and place[1] else (len(lines) if place else None)
        found = lines[row - 1].strip() if row and row <= len(lines) else None
        reason = str(error)[: place.start()] if place else str(error).split(";")[0]
        faults.add(found, f"{_right_line(found or '', reason)} (no TOML: {reason})", row=row)
    return None


def _right_line(line: str, reason: str) -> str:
    """What a line should be that is no TOML, by the slips that people make."""
    if _CURLY.search(line):
        return 'straight quotation marks (") throughout the file, as an editor of plain text writes them'
    if _ANY_DATE.search(line):
        return "a date like 2026-05-09, without quotation marks"
    if "twice" in reason or "overwrite" in reason or "redefine" in reason:
        return "each section and each key once; this one stands further up already"
    return 'a [section] or key = value, texts and quantities in quotation marks, like mass = "1480 g"'


def _about(name: str, expected: str) -> str:
    """What to do about a name that the catalogue does not have, as the end of a message."""
    if _STAYS.search(name):
        return "; leave out what does not boil: it stays in the pot and is weighed with the residue"
    return "" if "nearest" in expected or "say " in expected else "; `fractionkit substance` lists them"


def _expected(detail: ErrorDetails, model: type[BaseModel]) -> str:
    """Our words for what pydantic found wrong: the parser's, or the description of the field."""
    if detail["type"] == "quantity":
        return str(detail["ctx"]["expected"])
    owner, field = _owner(model, detail["loc"])
    if detail["type"] == "extra_forbidden":
        key = str(detail["loc"][-1])
        return f"a key out of {_listed(owner)}{nearest(key, owner.model_fields)}"
    if field in owner.model_fields and owner.model_fields[field].description:
        return str(owner.model_fields[field].description)
    return detail["msg"]


def _owner(model: type[BaseModel], loc: tuple[int | str, ...]) -> tuple[type[BaseModel], str]:
    """The model that a place belongs to (a section, or the stem inside one) and the field in it."""
    if len(loc) > 1 and loc[0] == "stem":
        return StemSection, str(loc[1])
    return model, str(loc[0]) if loc else ""


def _listed(model: type[BaseModel]) -> str:
    return ", ".join(model.model_fields)


def _value(detail: ErrorDetails) -> object:
    return detail["loc"][-1] if detail["type"] == "extra_forbidden" else detail["input"]


def _column(path: tuple[str | int, ...]) -> str:
    """How a place is called: "[pressure] station", "[[test]] cut", "[run] components"."""
    section, *rest = path
    if rest and isinstance(rest[0], int):
        rest = rest[1:]
        head = f"[[{section}]]"
    else:
        head = f"[{section}]"
    tail = ".".join(str(part) for part in rest if not isinstance(part, int))
    return f"{head} {tail}".strip()
