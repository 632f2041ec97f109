"""Reading grades from TOML files, every fault told at once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from fractionkit.errors import Fault, InputError
from fractionkit.grades.attributes import ATTRIBUTES, attribute_named, kind_of
from fractionkit.grades.model import Grade, Limit
from fractionkit.grades.sections import GradeFile, GradeSection, LimitSection
from fractionkit.quantities import Quantity, parse
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.runfile import RunSheet
from fractionkit.sheets.source import read_text

DATA = Path(__file__).parent / "data"
MOST_FILES = 1000


class GradeSheet(RunSheet):
    """The sections of one grade's file, read as `RunSheet` reads run.toml."""

    sections = GradeFile


def load_grades(path: str | Path) -> tuple[Grade, ...]:
    """Read a grade from its file, or all ``*.toml`` of a folder.

    Raises
    ------
    InputError
        with every fault of every file, each with file, row, key, value and what is expected.
    """
    source = Path(path)
    files = sorted(source.glob("*.toml")) if os.path.isdir(source) else [source]
    if not files:
        raise InputError(Fault(None, "a folder with a grade in it, one .toml file a grade", str(source)))
    if len(files) > MOST_FILES:
        raise InputError(Fault(f"{len(files)} files", f"a folder with at most {MOST_FILES} grades", str(source)))
    return _read(files)


@lru_cache(maxsize=1)
def built_in() -> tuple[Grade, ...]:
    """The grades that come with the project."""
    return _read(sorted(DATA.glob("*.toml")))


def _read(files: Sequence[Path]) -> tuple[Grade, ...]:
    found: list[Grade] = []
    wrong: list[Fault] = []
    names: dict[str, str] = {}
    for file in files:
        faults = Faults(str(file))
        text = read_text(file, faults)
        sheet = None if text is None else GradeSheet(text, faults)
        grade = _grade(sheet, file) if sheet is not None and sheet.readable else None
        if grade is not None and grade.name in names and sheet is not None:
            expected = f"a name of its own; {names[grade.name]} has it too"
            sheet.fault(expected, "grade", "name", value=grade.name)
        wrong += faults.all()
        if grade is not None:
            names[grade.name] = file.name
            found.append(grade)
    if wrong:
        raise InputError(wrong)
    return tuple(found)


def _grade(sheet: GradeSheet, file: Path) -> Grade:
    head = sheet.section("grade", GradeSection)
    missing = [key for key in ("name", "title", "source", "status") if not sheet.given("grade", key)]
    if missing:
        sheet.fault(f"{', '.join(missing)} as well: [grade] says what it is and where it comes from", "grade")
    for key in ("name", "title", "source"):
        text = getattr(head, key)
        if text is not None and not text.strip():
            sheet.fault(f"a {key} that is not empty", "grade", key, value=text)
    limits = [_limit(sheet, head, index, entry) for index, entry in sheet.repeated("limit", LimitSection)]
    if not sheet.given("limit"):
        sheet.fault('what is demanded: [[limit]] with attribute = "assay", low = "99.0 wt%"', "limit")
    _once(sheet, limits)
    return Grade(
        name=head.name or "",
        title=head.title or "",
        components=tuple(
            name
            for index, typed in enumerate(head.components or ())
            if (name := sheet.substance(typed, "grade", "components", index)) is not None
        ),
        limits=tuple(limits),
        source=head.source or "",
        status=head.status or "",
        note=head.note or "",
        file=str(file),
    )


def _limit(sheet: GradeSheet, head: GradeSection, index: int, entry: LimitSection) -> Limit:
    place = ("limit", index)
    attribute = attribute_named(entry.attribute or "")
    if not attribute and not sheet.given(*place, "attribute"):
        sheet.fault('attribute = "..." as well: what is limited', *place)
    elif not attribute and entry.attribute is not None:
        sheet.fault("the name of an attribute", *place, "attribute", value=entry.attribute)
    kind = kind_of(attribute)
    ends = {key: _quantity(sheet, index, key, getattr(entry, key), attribute, kind) for key in ("low", "high")}
    low, high = ends["low"], ends["high"]
    if low is not None and high is not None:
        _check_window(sheet, index, low, high)
    span = None
    if entry.span is not None and attribute != "boiling range":
        sheet.fault("span only with a boiling range", *place, "span", value=entry.span)
    elif entry.span is not None:
        span = _positive(sheet, index, "span", entry.span, "temperature_difference")
    temperature = _temperature(sheet, index, entry, attribute, low or high)
    substance = None
    if entry.substance is not None:
        substance = sheet.substance(entry.substance, *place, "substance")
        if attribute != "stabiliser":
            sheet.fault("substance only with a stabiliser", *place, "substance", value=entry.substance)
    if entry.accept is not None and (not entry.accept or any(not word.strip() for word in entry.accept)):
        sheet.fault("one or more words", *place, "accept", value=entry.accept)
    return Limit(
        attribute=attribute,
        low=low,
        high=high,
        span=span,
        accept=tuple(entry.accept or ()),
        temperature=temperature,
        substance=substance,
        source=entry.source or head.source or "",
        status=entry.status or head.status or "",
        note=entry.note or "",
    )


def _quantity(sheet: GradeSheet, index: int, key: str, text: str | None, attribute: str, kind: str) -> Quantity | None:
    """One end of a window, in a unit of the attribute's kind."""
    if text is None:
        return None
    if not kind:
        known = ", ".join(ATTRIBUTES)
        expected = f'accept = ["passes"]: {attribute!r} is tested in words; numbers belong to {known}'
        sheet.fault(expected, "limit", index, key, value=text)
        return None
    found = _parsed(sheet, index, key, text, kind)
    if found is not None and found.u is not None:
        sheet.fault("a limit without ±", "limit", index, key, value=text)
    return found


def _parsed(sheet: GradeSheet, index: int, key: str, text: str, kind: str) -> Quantity | None:
    try:
        return parse(text, kind)
    except InputError as error:
        for fault in error.faults:
            sheet.fault(fault.expected, "limit", index, key, value=text)
    return None


def _positive(sheet: GradeSheet, index: int, key: str, text: str, kind: str) -> Quantity | None:
    found = _parsed(sheet, index, key, text, kind)
    if found is not None and found.value <= 0:
        sheet.fault("more than 0", "limit", index, key, value=text)
    return found


def _check_window(sheet: GradeSheet, index: int, low: Quantity, high: Quantity) -> None:
    if low.kind != high.kind or low.basis != high.basis:
        sheet.fault(f"the same unit and basis as low ({low.text!r})", "limit", index, "high", value=high.text)
    elif low.value > high.value:
        sheet.fault(f"at least as much as low ({low.text!r})", "limit", index, "high", value=high.text)


def _temperature(
    sheet: GradeSheet, index: int, entry: LimitSection, attribute: str, end: Quantity | None
) -> float | None:
    """A density in g/mL needs its temperature; a specific gravity carries its own."""
    wants = attribute == "density" and end is not None and end.kind == "density"
    if entry.temperature is None:
        if wants:
            expected = 'temperature = "20 degC" as well, or a specific gravity like "1.318 sg25/25"'
            sheet.fault(expected, "limit", index, value=None)
        return None
    if not wants:
        sheet.fault("temperature only with a density in g/mL", "limit", index, "temperature", value=entry.temperature)
        return None
    found = _parsed(sheet, index, "temperature", entry.temperature, "temperature")
    return None if found is None else found.value


def _once(sheet: GradeSheet, limits: Sequence[Limit]) -> None:
    seen: set[tuple[str, str | None]] = set()
    for index, limit in enumerate(limits):
        key = (limit.attribute.lower(), limit.substance)
        if limit.attribute and key in seen:
            expected = "each attribute once; low and high of a window stand in one [[limit]]"
            sheet.fault(expected, "limit", index, "attribute", value=limit.attribute)
        seen.add(key)
