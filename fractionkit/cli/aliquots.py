"""`fractionkit aliquots SERIES`: composition of small samples against time, and whether it has levelled off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli import terminal
from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver

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
    from fractionkit.aliquots.document import json_text
    from fractionkit.report.aliquot_page import aliquot_html
    from fractionkit.sheets.aliquots import load_aliquots

    deliver(follow(load_aliquots(series)), show, (json, json_text), (report, aliquot_html))


def show(followed: Followed) -> None:
    """Print the table of samples, then the verdict and what it stands on."""
    from rich.text import Text

    from fractionkit.aliquots.rows import rows_of
    from fractionkit.assessment.context import cautions
    from fractionkit.figures.labels import plain, shorten
    from fractionkit.report.words import cautions_told

    console = terminal.console()
    series = followed.series
    change = f"since first: the change of {plain(series.follow)} since the first sample"
    how = f"wt% with 95 % intervals; {change}, in which what is off alike in all drops out"
    terminal.heading(console, series.title, series.date, "Untitled series", how)
    table = terminal.table(("time", "fixed"))
    for name in (*(shorten(name, 22) for name in series.components), "since first"):
        table.add_column(terminal.styled(name), justify="right")
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
    console.print()
    terminal.line(console, "cautions", cautions_told(cautions(series.components)), "bold")
