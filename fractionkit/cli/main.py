"""The command `fractionkit`: gathers the commands, turns every foreseen error into one message and an exit code."""

from __future__ import annotations

import os
import sys

import typer

from fractionkit.cli import (
    aliquots,
    assess,
    campaign,
    demo,
    during,
    grades,
    lot,
    plan,
    reading,
    stages,
    stock,
    substance,
)
from fractionkit.errors import FractionkitError

app = typer.Typer(
    name="fractionkit",
    help="What is in each cut of a distilled chlorinated solvent, how sure that is, and what to do with it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# in the order of the work: a run, what comes before the next one, what comes after, readings, constants
app.command("assess", short_help="What is in each cut of a run, and what to do with it.")(assess.command)
app.command("plan", short_help="Set-ups compared before heating; where to cut.")(plan.command)
app.command("during", short_help="Help while it distils: when to change receivers.")(during.command)
app.command("campaign", short_help="Cuts carried into the next charges, batch after batch.")(campaign.command)
app.command("stages", short_help="Theoretical stages and hold-up of your own still.")(stages.command)
app.command("lot", short_help="Cuts combined to lots, graded and labelled.")(lot.command)
app.command("grades", short_help="Grades: their limits and where they come from.")(grades.command)
app.add_typer(stock.app, name="stock", short_help="The bench logbook: what stands where, from what.")
app.add_typer(reading.app, name="reading", short_help="One reading corrected, step by step.")
app.command("aliquots", short_help="A series of small samples against time.")(aliquots.command)
app.command("substance", short_help="Constants and cautions of a substance.")(substance.command)
app.command("demo", short_help="An invented sheet to start from.")(demo.command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code: 0 done, 1 readings at odds, 2 wrong input."""
    # The matrices here are small: threads of the linear algebra library would spin longer than they compute. It reads
    # the variable when numpy is first imported, which no command has done yet.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app(args=arguments)
    except FractionkitError as error:
        print(f"fractionkit: {error}", file=sys.stderr)
        raise SystemExit(error.exit_code) from None


if __name__ == "__main__":
    main()
