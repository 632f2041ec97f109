"""`fractionkit during STILL.toml`: where the distillation stands, and when to change receivers next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.options import quantity
from fractionkit.cli.outputs import JsonOption, ReportOption, check_outputs, deliver
from fractionkit.cli.terminal import console, heading, styled

if TYPE_CHECKING:
    from fractionkit.planning.during.model import BenchReading, During


def command(
    still: Annotated[Path, typer.Argument(metavar="STILL.toml", help="The plan: its file, or the folder it is in.")],
    head: Annotated[str | None, typer.Option("--head", metavar="TEMP", help='Head reads now, like "88.2 °C".')] = None,
    collected: Annotated[
        str | None,
        typer.Option("--collected", metavar="MASS", help='Collected in all receivers together, like "310 g".'),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--receiver-since", metavar="MASS", help="Collected when this receiver was set under."),
    ] = None,
    setup: Annotated[str | None, typer.Option("--setup", metavar="NAME", help="Which set-up of the plan runs.")] = None,
    reflux: Annotated[
        float | None, typer.Option("--reflux", metavar="RATIO", help="Reflux ratio that is running.")
    ] = None,
    log: Annotated[
        Path | None,
        typer.Option("--log", metavar="FILE.csv", help="Readings so far: columns head, collected (and time, note)."),
    ] = None,
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Say what is in the receiver and coming over, what is left, and when to change receivers next.

    Exit code 1: the readings cannot come from this plan; 2: something typed is wrong.
    """
    check_outputs(json, report)
    readings = _readings(head, collected, log)
    from fractionkit.planning.during.follow import during, start
    from fractionkit.report.during_document import json_text
    from fractionkit.report.during_page import during_html
    from fractionkit.sheets.still_file import load_still

    sheet, begun = load_still(still), _mass(since, "--receiver-since") or 0.0
    found = during(sheet, readings, since=begun, setup=setup, reflux=reflux)

    def page(shown: During) -> str:
        return during_html(shown, start(sheet, setup=setup, reflux=reflux))

    deliver(found, show, (json, json_text), (report, page))
    if found.impossible:
        raise typer.Exit(1)


def _readings(head: str | None, collected: str | None, log: Path | None) -> list[BenchReading]:
    """Readings of the log, then the one that was typed."""
    from fractionkit.errors import Fault, InputError
    from fractionkit.planning.during.log import read_log
    from fractionkit.planning.during.model import BenchReading

    found = [] if log is None else read_log(log)
    if (head is None) != (collected is None):
        missing, example = ("--collected", "310 g") if collected is None else ("--head", "88.2 °C")
        raise InputError(Fault(None, f'{missing} as well, like {missing} "{example}"'))
    if head is not None and collected is not None:
        found.append(
            BenchReading(quantity("--head", head, "temperature").value, _mass(collected, "--collected") or 0.0)
        )
    if not found:
        raise InputError(Fault(None, '--head "88.2 °C" with --collected "310 g", or --log FILE.csv'))
    return found


def _mass(text: str | None, name: str) -> float | None:
    from fractionkit.errors import Fault, InputError

    if text is None:
        return None
    mass = quantity(name, text, "mass").value
    if mass < 0.0:
        raise InputError(Fault(text, "a mass of 0 or more", column=name))
    return mass


def show(found: During) -> None:
    """Print the answer in sentences."""
    from fractionkit.report.words import LOCAL_RULES

    out = console()
    running = f"{found.setup}, reflux {found.reflux:g}" if found.reflux > 0.0 else found.setup
    heading(out, found.title, "", "Untitled plan", f"{running}; 95 % intervals")
    for place, sentence in enumerate(found.text):
        out.print()
        out.print(styled(sentence, "bold" if place == 0 else ""))
    out.print()
    out.print(styled(f"{LOCAL_RULES} Never distil to dryness.", "dim"))
