"""`fractionkit campaign STILL`: batches one after the other, intermediate cuts carried into the next charge."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver
from fractionkit.cli.progress import progress


def command(
    still: Annotated[Path, typer.Argument(metavar="STILL", help="The plan's STILL.toml, or the folder it is in.")],
    batches: Annotated[
        int | None, typer.Option("--batches", metavar="N", help="How many batches; the sheet's, else 10.")
    ] = None,
    carried: Annotated[
        int | None,
        typer.Option(
            "--carried", metavar="M", help="Most cuts carried into the next charge; every number up to it is tried."
        ),
    ] = None,
    setup: Annotated[
        str | None,
        typer.Option("--setup", metavar="NAME", help="Set-up of the sheet; else the one that plan ranks first."),
    ] = None,
    reflux: Annotated[
        float | None, typer.Option("--reflux", metavar="R", help="Reflux ratio L/D of that set-up.")
    ] = None,
    carry_residue: Annotated[
        bool, typer.Option("--carry-residue", help="Leave what stays in the pot for the next charge.")
    ] = False,
    passes: Annotated[
        int,
        typer.Option(
            "--passes", metavar="K", help="Hold one to K simple distillations of a charge against the set-up."
        ),
    ] = 0,
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Simulate a campaign: when the recycle settles, what is kept in all, what gathers, how many cuts to carry.

    Exit code 1: the run that the feed comes from is at odds with itself; 2: the sheet or an option is wrong.
    """
    check_outputs(json, report)
    from fractionkit.cli.tables.campaign import show
    from fractionkit.planning.campaign.policies import campaign
    from fractionkit.report.campaign_document import campaign_json_text
    from fractionkit.report.campaign_page import campaign_html
    from fractionkit.sheets.still_file import load_still

    sheet = load_still(still)
    with progress("batches") as tell:
        made = campaign(
            sheet, batches=batches, carried=carried, setup=setup, reflux=reflux, carry_residue=carry_residue,
            passes=passes, progress=tell,
        )  # fmt: skip
    deliver(made, show, (json, campaign_json_text), (report, campaign_html))
