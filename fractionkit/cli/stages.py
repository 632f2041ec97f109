"""`fractionkit stages RUN`: how many theoretical stages the own still has, from a run through it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli import terminal
from fractionkit.cli.options import quantity
from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver
from fractionkit.cli.terminal import line

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
    from fractionkit.report.stages_document import json_text
    from fractionkit.report.stages_page import stages_html
    from fractionkit.sheets import load_run
    from fractionkit.stages import fit

    found = fit(load_run(run), reflux=ratio)
    deliver(found, show, (json, json_text), (report, stages_html))
    if found.contradicted:
        raise typer.Exit(1)


def _ratio(text: str | None) -> Quantity | None:
    """The reflux ratio as typed."""
    if text is None:
        return None
    from fractionkit.errors import Fault, InputError

    ratio = quantity("--reflux", text, "number", default_unit="")
    if not 0.0 <= ratio.value <= 100.0:
        raise InputError(Fault(text, "a reflux ratio L/D from 0 to 100", column="--reflux"))
    return ratio


def show(fit: StillFit) -> None:
    """Print the table of cuts, then the answer and what must be known of it."""
    from rich.text import Text

    from fractionkit.assessment.context import cautions
    from fractionkit.figures.labels import short_names, shorten
    from fractionkit.quantities import format_interval
    from fractionkit.report.words import cautions_told, sentence
    from fractionkit.stages.words import summary

    console = terminal.console()
    terminal.heading(console, fit.title, fit.date, "Untitled run", "wt% with 95 % intervals")
    table = terminal.table(("cut", "fixed"), ("", "fixed"), ("by the still", "right"), ("by its readings", "right"))
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
    console.print()
    for told in summary(fit):
        line(console, told.what, told.value)
    for flag in fit.flags:
        line(console, "!", f"{sentence(flag.text)}.", "bold yellow")
    line(console, "cautions", cautions_told(cautions(fit.components)), "bold")
