"""The command `fractionkit`: gathers the commands, turns every foreseen error into one message and an exit code."""

from __future__ import annotations

import os
import sys

import typer

from fractionkit.cli import aliquots, assess, campaign, demo, plan, reading, stock, substance
from fractionkit.errors import FractionkitError

app = typer.Typer(
    name="fractionkit",
    help="What is in each cut of a distilled chlorinated solvent, how sure that is, and what to do with it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("assess")(assess.command)
app.add_typer(reading.app, name="reading")
app.command("plan")(plan.command)
app.command("campaign")(campaign.command)
app.add_typer(stock.app, name="stock")
app.command("aliquots")(aliquots.command)
app.command("substance")(substance.command)
app.command("demo")(demo.command)


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
