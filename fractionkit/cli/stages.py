"""`fractionkit stages RUN`: how many theoretical stages the own still has, from a run through it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity
    from fractionkit.stages import StillFit

MOST_ROWS = 60


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of the run, or its run.toml.")],
    reflux: Annotated[
        str | None, typer.Option("--reflux", metavar="RATIO", help='Reflux ratio L/D, like "3" or "3 ± 0.5".')
    ] = None,
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Infer theoretical stages and hold-up of the still from a run, and hold the run against them.

    Exit code 1: no number of stages explains the run; 2: the sheet is wrong.
    """
    check_outputs(json, report)
    ratio = _ratio(reflux)
    from fractionkit.sheets import load_run
    from fractionkit.stages import fit

    found = fit(load_run(run), reflux=ratio)

    def json_text() -> str:
        from fractionkit.report.stages_document import json_text

        return json_text(found)

    def report_text() -> str:
        from fractionkit.report.stages_page import stages_html

        return stages_html(found)

    write_outputs((json, json_text), (report, report_text))
    if json != STANDARD_OUTPUT:
        show(found)
        for path in (json, report):
            if path is not None:
                typer.echo(f"written: {path}")
    if found.contradicted:
        raise typer.Exit(1)


def _ratio(text: str | None) -> Quantity | None:
    """The reflux ratio as typed."""
    if text is None:
        return None
    from fractionkit.errors import Fault, InputError
    from fractionkit.quantities import parse

    ratio = parse(text, "number", default_unit="")
    if not 0.0 <= ratio.value <= 100.0:
        raise InputError(Fault(text, "a reflux ratio L/D from 0 to 100", column="--reflux"))
    return ratio


def show(fit: StillFit) -> None:
    """Print the table of cuts, then the answer and what must be known of it."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from fractionkit.assessment.context import cautions
    from fractionkit.figures.labels import plain, short_names, shorten
    from fractionkit.quantities import format_interval
    from fractionkit.report.words import cautions_told
    from fractionkit.stages.words import summary

    console = Console(highlight=False, markup=False, emoji=False)
    console.print(Text(plain(fit.title) + (f", {fit.date}" if fit.date else ""), style="bold"))
    console.print(Text("wt% with 95 % intervals", style="dim"))
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("cut", no_wrap=True)
    table.add_column("", no_wrap=True, min_width=22)
    for name in ("by the still", "by its readings"):
        table.add_column(name, justify="right", no_wrap=True)
    names = short_names(fit.components, 22)
    cuts = fit.cuts if len(fit.cuts) <= MOST_ROWS else fit.cuts[:MOST_ROWS]
    for cut in cuts:
        for i, name in enumerate(names):
            cells = [
                format_interval(s.estimate, min(s.low, s.estimate), max(s.high, s.estimate)).removesuffix(" wt%")
                for s in (cut.predicted[i], cut.assessed[i])
            ]
            first = i == 0
            row = (shorten(cut.name, 8) if first else "", name, *cells)
            table.add_row(*(Text(cell) for cell in row))
    console.print(table)
    if len(cuts) < len(fit.cuts):
        console.print(Text(f"{len(fit.cuts) - len(cuts)} more cuts: --json holds them"))
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True, min_width=9)
    grid.add_column()
    for line in summary(fit):
        grid.add_row(Text(line.what, style="bold"), Text(line.value))
    for flag in fit.flags:
        grid.add_row(Text("!", style="bold"), Text(flag.text[0].upper() + flag.text[1:] + "."))
    grid.add_row(Text("cautions", style="bold"), Text(cautions_told(cautions(fit.components))))
    console.print()
    console.print(grid)
