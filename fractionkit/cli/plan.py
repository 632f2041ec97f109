"""`fractionkit plan STILL`: set-ups compared before heating."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver
from fractionkit.cli.progress import progress


def command(
    still: Annotated[Path, typer.Argument(metavar="STILL", help="The plan's STILL.toml, or the folder it is in.")],
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Compare stills, columns and reflux ratios for a charge: what each keeps, where to cut, what it costs.

    Exit code 1: the run that the charge comes from is at odds with itself; 2: the sheet is wrong, or no column at all
    could give that target. A plan in which no set-up reaches the target is an answer.
    """
    check_outputs(json, report)
    from fractionkit.cli.tables.plan import show
    from fractionkit.planning.compare import compare
    from fractionkit.report.plan_document import plan_json_text
    from fractionkit.report.plan_page import plan_html
    from fractionkit.sheets.still_file import load_still

    sheet = load_still(still)
    with progress("set-ups") as tell:
        plan = compare(sheet, processes=0, pictures=report is not None, progress=tell)
    deliver(plan, show, (json, plan_json_text), (report, plan_html))
