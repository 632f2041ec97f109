"""`fractionkit assess RUN`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of the run, or its run.toml.")],
    json: JsonOption = None,
    report: ReportOption = None,
    advise: Annotated[bool, typer.Option("--advise", help="Say also what to measure next.")] = False,
) -> None:
    """Say what is in each cut, how sure that is, and what to keep, redistil, recycle or throw out.

    Exit code 1: the readings are at odds, so that no honest answer stands; 2: the sheet is wrong.
    """
    check_outputs(json, report)
    from fractionkit.assessment import assess
    from fractionkit.cli.tables.assess import show
    from fractionkit.report import html, json_text
    from fractionkit.sheets import load_run

    assessment = assess(load_run(run), advise=advise)
    deliver(assessment, show, (json, json_text), (report, html))
    if assessment.at_odds:
        raise typer.Exit(1)
