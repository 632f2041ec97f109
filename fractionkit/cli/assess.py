"""`fractionkit assess RUN`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs


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
    from fractionkit.sheets import load_run

    assessment = assess(load_run(run), advise=advise)

    def json_text() -> str:
        from fractionkit.report import json_text

        return json_text(assessment)

    def report_text() -> str:
        from fractionkit.report import html

        return html(assessment)

    write_outputs((json, json_text), (report, report_text))
    if json != STANDARD_OUTPUT:
        from fractionkit.cli.assess_table import show

        show(assessment)
        for text in assessment.advice:
            typer.echo(f"next: {text}")
        for path in (json, report):
            if path is not None:
                typer.echo(f"written: {path}")
    if assessment.at_odds:
        raise typer.Exit(1)
