"""`fractionkit aliquots SERIES`: composition of small samples against time, and whether it has levelled off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs

if TYPE_CHECKING:
    from fractionkit.aliquots import Followed

MOST_ROWS = 60
_SHORT = {"levelled off": "level", "still moving": "moving", "undecided": "–"}


def command(
    series: Annotated[Path, typer.Argument(metavar="SERIES", help="Folder of the series, or its aliquots.toml.")],
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Follow a wash, a drying or a reaction by small samples: composition against time, and whether it has levelled."""
    check_outputs(json, report)
    from fractionkit.aliquots import follow
    from fractionkit.sheets.aliquots import load_aliquots

    followed = follow(load_aliquots(series))

    def json_text() -> str:
        from fractionkit.aliquots.document import json_text

        return json_text(followed)

    def report_text() -> str:
        from fractionkit.report.aliquot_page import aliquot_html

        return aliquot_html(followed)

    write_outputs((json, json_text), (report, report_text))
    if json != STANDARD_OUTPUT:
        show(followed)
        for path in (json, report):
            if path is not None:
                typer.echo(f"written: {path}")


def show(followed: Followed) -> None:
    """Print the table of samples, then the verdict and what it stands on."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from fractionkit.aliquots.rows import rows_of
    from fractionkit.figures.labels import plain, shorten

    console = Console(highlight=False, markup=False, emoji=False)
    series = followed.series
    console.print(Text(plain(series.title) + (f", {series.date.isoformat()}" if series.date else ""), style="bold"))
    console.print(
        Text("wt% with 95 % intervals; since the first sample: what is off alike in all drops out", style="dim")
    )
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("time", no_wrap=True)
    for name in series.components:
        table.add_column(Text(shorten(name, 22)), justify="right")
    table.add_column(Text(f"{shorten(series.follow, 14)} since first"), justify="right")
    table.add_column("then", no_wrap=True)
    rows = rows_of(followed)
    half = MOST_ROWS // 2
    for row in rows if len(rows) <= MOST_ROWS else [*rows[:half], None, *rows[-half:]]:
        cells = ["…"] if row is None else [row.time, *row.parts, row.change, _SHORT.get(row.verdict, "")]
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    for text in followed.text:
        console.print()
        console.print(Text(text))
    for warning in followed.warnings:
        console.print()
        console.print(Text("Warning: ", style="bold") + Text(warning))
