"""The campaign on a terminal: policies compared, then the batches of the best and what must be known beside them.

No markup is ever read from what a user typed: every text is set in as `rich.text.Text` without control characters.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.cli import terminal
from fractionkit.cli.terminal import line, styled, table
from fractionkit.figures.labels import shorten
from fractionkit.planning.campaign.model import Campaign
from fractionkit.quantities import format_typed
from fractionkit.report import campaign_words as words
from fractionkit.report.words import cautions_told

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

MOST_ROWS = 40
"""Batches listed; JSON and report hold all."""


def show(made: Campaign, console: Console | None = None) -> None:
    """Print the campaign; nothing printed is wider than the console."""
    if console is None:
        console = terminal.console()
    best = made.chosen
    asked = f"{words.wanted(made)}, probability {format_typed(made.confidence, '%')} in every batch"
    terminal.heading(console, made.title, made.date, "Untitled campaign", asked, words.setup(made))
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
    rows = table(
        ("carried", "right"),
        ("kept of fed, %", "right"),
        (f"last batch, {words.unit(made)}", "right"),
        ("settled", "fixed"),
    )
    for place, policy in enumerate(made.policies):
        cells = (
            str(policy.carried), words.percent(policy.overall), words.mass(policy.kept, words.unit(made)),
            words.settled(policy) + (f", {policy.gathers[0]} gathers" if policy.gathers else ""),
        )  # fmt: skip
        rows.add_row(*(styled(cell, "bold" if place == made.best else "") for cell in cells))
    return rows


def passes_table(made: Campaign) -> Table:
    """One charge with the set-up and by simple distillations."""
    figures = ("cut at, wt%", f"kept, {words.unit(made)}", "h", "MJ")
    rows = table(("one charge by", "left"), *((name, "right") for name in figures))
    rows.columns[0].max_width = 34
    for row in made.passes:
        cells = (
            words.means(row, made),
            words.aims(row),
            words.mass(row.kept, words.unit(made)),
            words.hours(row.time),
            words.megajoules(row.heat),
        )
        rows.add_row(*map(styled, cells))
    return rows


def batch_table(made: Campaign, width: int) -> Table:
    """One row a batch of the best policy; the middle ones are left out where they are many."""
    wide, unit = width >= 100, words.unit(made)
    shown = table()
    names = ["batch", f"fresh, {unit}", f"kept, {unit}", "assay, wt%"] + (["heart"] if wide else [])
    for name in [*names, f"recycle, {unit}"]:
        shown.add_column(name, justify="left" if name == "heart" else "right", no_wrap=name != "heart")
    shown.add_column(styled(f"{shorten(made.target, 20 if wide else 15)}, wt%"), justify="right", no_wrap=True)
    rows = made.chosen.batches
    half = MOST_ROWS // 2
    for row in rows if len(rows) <= MOST_ROWS else [*rows[:half], None, *rows[-half:]]:
        if row is None:
            shown.add_row("…")
            continue
        fresh, recycle = words.mass(row.fresh, unit), words.mass(row.recycle, unit)
        assay, held = words.share(row.assay), words.share(row.composition.get(made.target))
        if not wide:  # only what is kept has room for its interval
            fresh, recycle, assay, held = (text.split(" (")[0] for text in (fresh, recycle, assay, held))
        heart = (row.cut_at,) if wide else ()
        shown.add_row(*map(styled, (str(row.number), fresh, words.mass(row.kept, unit), assay, *heart, recycle, held)))
    return shown
