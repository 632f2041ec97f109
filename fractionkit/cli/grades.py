"""`fractionkit grades [NAME]`: the grades that a lot can be held against, their limits, where these come from."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs, deliver
from fractionkit.cli.terminal import WIDEST, console

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from fractionkit.grades import Grade, Limit

SCHEMA = "fractionkit/grades/1"
_KNOWN = {"read in a copy": "read", "from memory": "memory", "our own": "our own"}
_HINT = (
    "fractionkit grades NAME shows one with its limits and sources. A lot is held against the grades of its substance. "
    "One of your own is a .toml file like these: give it with --file, or in LOT.toml."
)


def command(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Name of a grade; none: list them.")] = None,
    substance: Annotated[
        str | None, typer.Option("--for", metavar="SUBSTANCE", help="Only grades for this substance.")
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option("--file", metavar="PATH", help="Your own grade (.toml), or a folder of them, as well."),
    ] = None,
    json: JsonOption = None,
) -> None:
    """List the grades, or show one: every limit with its source and how that is known."""
    check_outputs(json)
    from fractionkit.grades import chosen, load_grades

    extra = () if file is None else load_grades(file)
    found = chosen([] if name is None else [name], _canonical(substance), extra)

    def shown(grades: Sequence[Grade]) -> None:
        out = console(WIDEST)
        show_list(grades, out) if name is None else show(grades[0], out)

    deliver(found, shown, (json, json_document))


def _canonical(substance: str | None) -> str | None:
    if substance is None:
        return None
    from fractionkit.substances import canonical_name

    return canonical_name(substance)


def json_document(grades: Sequence[Grade]) -> str:
    """Grades as JSON, schema ``fractionkit/grades/1``."""
    from fractionkit.files import json_text

    return json_text({"schema": SCHEMA, "grades": [record(grade) for grade in grades]})


def record(grade: Grade) -> dict[str, Any]:
    """A grade as JSON holds it: limits as text, as they were typed."""
    return {
        "name": grade.name,
        "title": grade.title,
        "components": list(grade.components),
        "source": grade.source,
        "status": grade.status,
        "note": grade.note,
        "limits": [_limit_record(limit) for limit in grade.limits],
    }


def _limit_record(limit: Limit) -> dict[str, Any]:
    from fractionkit.grades.words import limit_text

    return {
        "attribute": limit.attribute,
        "limit": limit_text(limit),
        "low": None if limit.low is None else limit.low.text,
        "high": None if limit.high is None else limit.high.text,
        "span": None if limit.span is None else limit.span.text,
        "accept": list(limit.accept),
        "substance": limit.substance,
        "source": limit.source,
        "status": limit.status,
        "note": limit.note,
    }


def show_list(grades: Sequence[Grade], console: Console) -> None:
    """Print the grades by substance: name, what is limited, how it is known."""
    from rich.text import Text

    from fractionkit.figures.labels import plain, shorten

    table = _table("grade", "limits on", "known")
    last = None
    for grade in sorted(grades, key=lambda grade: (not grade.components, grade.components)):
        owner = plain(", ".join(grade.components)) or "any substance"
        if owner != last:
            table.add_row(Text(shorten(owner, 40), style="bold"), "", "")
        last = owner
        limits = ", ".join(dict.fromkeys(plain(limit.attribute) for limit in grade.limits))
        table.add_row(Text(f"  {shorten(grade.name, 40)}"), Text(limits), Text(_KNOWN[grade.status], style="dim"))
    console.print(table)
    console.print()
    console.print(Text(_HINT))


def show(grade: Grade, console: Console) -> None:
    """Print one grade."""
    from rich.text import Text

    from fractionkit.figures.labels import plain
    from fractionkit.grades.words import attribute_title, limit_text

    console.print(Text(plain(grade.title), style="bold"))
    console.print(Text(f"{plain(grade.name)}, for {plain(', '.join(grade.components)) or 'any substance'}"))
    console.print(Text(f"{plain(grade.source)} ({grade.status})"))
    console.print()
    table = _table("attribute", "limit", "remark")
    for limit in grade.limits:
        remark = [plain(limit.note)] if limit.note else []
        if limit.source != grade.source:
            remark.append(f"{plain(limit.source)} ({limit.status})")
        elif limit.status != grade.status:
            remark.append(limit.status)
        table.add_row(
            plain(attribute_title(limit)), Text(plain(limit_text(limit))), Text("; ".join(remark), style="dim")
        )
    console.print(table)
    if grade.note:
        console.print()
        console.print(Text(plain(grade.note)))


def _table(*headings: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for heading in headings:
        table.add_column(heading, overflow="fold", no_wrap=heading == "grade")
    return table
