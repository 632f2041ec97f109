"""Made lots on a terminal: what went in, what they may be called, what is left and what it would take.

No markup is ever read from what a user typed: every text is set in as `rich.text.Text` without control characters.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.cli import terminal
from fractionkit.cli.terminal import heading, line, styled
from fractionkit.figures.labels import plain, shorten
from fractionkit.quantities import format_floor, format_mass, format_probability
from fractionkit.release.model import Frontier, Left, MadeLot, Release
from fractionkit.report import words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

MOST_ROWS = 40
"""Parents of a lot, and materials left over, that are listed; JSON and report hold all."""

_MOST_POINTS = 6
_NEAR = 5.0  # times the impurity that was asked for
_MOST_MISSING = 4
_LONGEST_NAME = 18


def show(release: Release, console: Console | None = None) -> None:
    """Print the lots; nothing printed is wider than the console."""
    if console is None:
        console = terminal.console()
    heading(console, release.title, release.lots[0].date if release.lots else "", "Untitled lot")
    for lot in release.lots:
        console.print()
        _lot(console, lot)
    if not release.lots:
        console.print()
    for flag in release.flags:
        line(console, "!", words.sentence(flag.text), "bold yellow")
    if release.left:
        console.print()
        console.print(_left_table(release.left))
    if release.frontiers:
        console.print()
    for found in release.frontiers:
        line(console, "could keep", _frontier_words(found))
    if release.economics:
        console.print()
        console.print(_economics_table(release.economics))
    console.print()
    line(console, "cautions", words.cautions_told(one for lot in release.lots for one in lot.cautions), "bold")


def _lot(console: Console, lot: MadeLot) -> None:
    assay = words.wt_percent(lot.assay)
    chance = format_probability(lot.probability_meets_target, spoken=True)
    goal = f"{words.goal(lot.purity).removesuffix(' %')} wt%"
    line(console, "lot", f"{plain(lot.number)}: {format_mass(lot.mass)} of {assay} {lot.target}", "bold green")
    asked = words.goal(lot.confidence)
    line(console, "", f"The probability that it holds at least {goal} is {chance}; {asked} was asked for.")
    sources = dict.fromkeys(parent.title or parent.origin for parent in lot.parents)
    console.print(_parents_table(lot, several=len(sources) > 1))
    if len(sources) == 1:
        line(console, "from", plain(next(iter(sources))))
    for place, text in enumerate(lot.label):
        line(console, "label" if place == 0 else "", words.sentence(text))
    for grade in lot.grades:
        if grade.claimed:
            line(console, "grade", f"{plain(grade.title)}: all it asks for is met", "green")
    short = [grade for grade in lot.grades if not grade.claimed]
    for place, grade in enumerate(short):
        more = len(grade.missing) - _MOST_MISSING
        missing = "; ".join(map(plain, grade.missing[:_MOST_MISSING])) + (f"; {more} more" if more > 0 else "")
        line(console, "no claim" if place == 0 else "", f"{plain(grade.title)}: {missing}")
    line(console, "stabiliser", words.sentence(lot.stabiliser.text))
    for text in lot.storage:
        line(console, "storage", words.sentence(text))


def _parents_table(lot: MadeLot, several: bool) -> Table:
    share = f"wt% {shorten(lot.target, 20)}"
    table = terminal.table(("cut", "left"), ("taken, g", "right"), ("part", "right"), (share, "right"))
    table.columns[0].max_width = _LONGEST_NAME
    if several:
        table.add_column("from", overflow="fold")
    for parent in lot.parents[:MOST_ROWS]:
        made = parent.composition.get(lot.target)
        cells = [
            shorten(parent.name, 2 * _LONGEST_NAME),
            format_mass(parent.mass, unit=False),
            "all" if parent.part > 0.9995 else f"{100 * parent.part:.0f} %",
            "0" if made is None else words.wt_percent(made, unit=False),
            *([shorten(parent.title or parent.origin, 60)] if several else []),
        ]
        table.add_row(*map(styled, cells))
    if len(lot.parents) > MOST_ROWS:
        table.add_row(styled("…"), styled(f"{len(lot.parents) - MOST_ROWS} more"))
    return table


def _left_table(left: tuple[Left, ...]) -> Table:
    table = terminal.table(("left over", "left"), ("g", "right"), ("what it would take", "left"))
    table.columns[0].max_width = _LONGEST_NAME
    for rest in left[:MOST_ROWS]:
        table.add_row(
            styled(shorten(rest.name, 2 * _LONGEST_NAME)),
            styled(format_mass(rest.mass, unit=False)),
            styled(words.sentence(rest.takes)),
        )
    if len(left) > MOST_ROWS:
        table.add_row(styled("…"), styled(""), styled(f"{len(left) - MOST_ROWS} more: --json and --report hold all"))
    return table


def _frontier_words(found: Frontier) -> str:
    """A few points of the frontier about what was asked for."""
    near = 1.0 - _NEAR * (1.0 - (found.purity or 1.0))
    first = min(int((found.assay < near).sum()), max(len(found.assay) - 2, 0))
    count = len(found.assay) - first
    if count <= 0:
        return f"nothing of {found.target}"
    places = sorted({first + round(k * (count - 1) / (_MOST_POINTS - 1)) for k in range(_MOST_POINTS)})
    points = [f"{format_mass(float(found.mass[k]))} at {format_floor(float(found.assay[k]))}" for k in places]
    return f"{found.target}, {words.goal(found.confidence)} sure: " + ", ".join(points)


def _economics_table(lines: tuple[tuple[str, str], ...]) -> Table:
    table = terminal.table(("money", "left"), ("", "right"))
    for what, amount in lines:
        table.add_row(styled(what), styled(amount))
    return table
