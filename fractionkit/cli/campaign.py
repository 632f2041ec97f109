"""`fractionkit campaign STILL`: batches one after the other, intermediate cuts carried into the next charge."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs
from fractionkit.cli.progress import progress

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from fractionkit.planning.campaign_model import Campaign

MOST_ROWS = 40
"""Batches listed; JSON and report hold all."""


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
    from fractionkit.planning.campaign import campaign
    from fractionkit.sheets.still_file import load_still

    sheet = load_still(still)
    with progress("batches") as tell:
        made = campaign(
            sheet, batches=batches, carried=carried, setup=setup, reflux=reflux, carry_residue=carry_residue,
            passes=passes, progress=tell,
        )  # fmt: skip

    def json_text() -> str:
        from fractionkit.report.campaign_document import campaign_json_text

        return campaign_json_text(made)

    def report_text() -> str:
        from fractionkit.report.campaign_page import campaign_html

        return campaign_html(made)

    write_outputs((json, json_text), (report, report_text))
    if json != STANDARD_OUTPUT:
        show(made)
        for path in (json, report):
            if path is not None:
                typer.echo(f"written: {path}")


def show(made: Campaign, console: Console | None = None) -> None:
    """Print the campaign; nothing printed is wider than the console."""
    from fractionkit.cli.terminal import line, styled
    from fractionkit.figures.labels import plain
    from fractionkit.report import campaign_words as words
    from fractionkit.report.words import cautions_told

    if console is None:
        from rich.console import Console

        console = Console(highlight=False, soft_wrap=False)
    best = made.chosen
    date = f", {plain(made.date)}" if made.date else ""
    console.print(styled(f"{plain(made.title) or 'Untitled campaign'}{date}", "bold"))
    console.print(styled(f"{words.wanted(made)}, probability {100 * made.confidence:.4g} % in every batch", "dim"))
    console.print(styled(words.setup(made), "dim"))
    console.print()
    console.print(policy_table(made))
    console.print()
    console.print(batch_table(made, console.width))
    if len(best.batches) > MOST_ROWS:
        line(
            console, "", f"{len(best.batches) - MOST_ROWS} batches between are left out: --json and --report hold all."
        )
    if made.passes:
        console.print()
        console.print(passes_table(made))
    console.print()
    good = best.overall.estimate > 0.0
    line(console, "best", words.headline(made), "bold green" if good else "bold red")
    for text in made.text:
        line(console, "", text)
    takes = [f"{words.megajoules(best.heat_per_kg)} MJ for a kilogram kept"] if best.heat_per_kg else []
    takes += [f"{words.hours(best.time)} h a batch"] if best.time else []
    if takes:
        line(console, "takes", ", ".join(takes))
    for policy in made.policies:
        for remark in () if policy is best else policy.remarks[:1]:
            line(console, "–", f"{words.carried(policy.carried).capitalize()} carried: {remark}")
    for flag in made.flags:
        line(console, "!", flag.text, "bold yellow")
    line(console, "cautions", cautions_told(made.cautions), "bold")
    line(console, "intervals", f"95 %, over {made.scenarios} scenarios")


def policy_table(made: Campaign) -> Table:
    """One row a number of carried cuts."""
    from fractionkit.cli.plan_table import _table
    from fractionkit.cli.terminal import styled
    from fractionkit.report import campaign_words as words

    table = _table()
    for name in ("carried", "kept of fed, %", "last batch, g", "settled"):
        table.add_column(name, justify="left" if name == "settled" else "right", no_wrap=True)
    for place, policy in enumerate(made.policies):
        cells = (
            str(policy.carried), words.percent(policy.overall), words.grams(policy.kept),
            words.settled(policy) + (f", {policy.gathers[0]} gathers" if policy.gathers else ""),
        )  # fmt: skip
        table.add_row(*(styled(cell, "bold" if place == made.best else "") for cell in cells))
    return table


def passes_table(made: Campaign) -> Table:
    """One charge with the set-up and by simple distillations."""
    from fractionkit.cli.plan_table import _table
    from fractionkit.cli.terminal import styled
    from fractionkit.report import campaign_words as words

    table = _table()
    table.add_column("one charge by", max_width=34, overflow="fold")
    for name in ("cut at, wt%", "kept, g", "h", "MJ"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in made.passes:
        cells = (
            words.means(row, made),
            words.aims(row),
            words.grams(row.kept),
            words.hours(row.time),
            words.megajoules(row.heat),
        )
        table.add_row(*map(styled, cells))
    return table


def batch_table(made: Campaign, width: int) -> Table:
    """One row a batch of the best policy; the middle ones are left out where they are many."""
    from fractionkit.cli.plan_table import _table
    from fractionkit.cli.terminal import styled
    from fractionkit.figures.labels import shorten
    from fractionkit.report import campaign_words as words

    wide = width >= 100
    table = _table()
    names = ["batch", "fresh, g", "kept, g", "assay, wt%"] + (["heart"] if wide else [])
    for name in [*names, "recycle, g"]:
        table.add_column(name, justify="left" if name == "heart" else "right", no_wrap=name != "heart")
    table.add_column(styled(f"{shorten(made.target, 20 if wide else 15)}, wt%"), justify="right", no_wrap=True)
    rows = made.chosen.batches
    half = MOST_ROWS // 2
    for row in rows if len(rows) <= MOST_ROWS else [*rows[:half], None, *rows[-half:]]:
        if row is None:
            table.add_row("…")
            continue
        fresh, recycle = words.grams(row.fresh), words.grams(row.recycle)
        assay, held = words.share(row.assay), words.share(row.composition.get(made.target))
        if not wide:  # only what is kept has room for its interval
            fresh, recycle, assay, held = (text.split(" (")[0] for text in (fresh, recycle, assay, held))
        heart = (row.cut_at,) if wide else ()
        table.add_row(*map(styled, (str(row.number), fresh, words.grams(row.kept), assay, *heart, recycle, held)))
    return table
