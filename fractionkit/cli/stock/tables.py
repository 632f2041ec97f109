"""The shelf on a terminal of 80 columns. No markup is ever read from what a user typed; control signs are taken out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fractionkit.cli.terminal import console, line, styled, table
from fractionkit.figures.labels import plain, short_names, shorten
from fractionkit.quantities import Estimate, format_mass
from fractionkit.report import words
from fractionkit.stock.alarms import Alarm, of_holding, together
from fractionkit.stock.lineage import Link
from fractionkit.stock.rows import Kind
from fractionkit.stock.shelf import Holding

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from fractionkit.stock import Stock

_ORDER: tuple[Kind, ...] = ("lot", "bottle", "cut", "residue")
_LONGEST_NAME = 14
_LONGEST_LABEL = 22
_TRACE = 1e-3  # mass fraction below which a component is not listed; show and JSON hold all


def show_shelf(held: Sequence[Holding], day: str, *, searched: bool = False) -> None:
    """Everything that stands there, lots first."""
    from rich.text import Text

    out = console()
    if not held:
        out.print(styled("Nothing of that kind stands on the shelf." if searched else "Nothing stands on the shelf."))
        return
    made = table(("name", "left"), ("mass, g", "right"), ("wt% (95 % interval)", "left"), ("for", "left"))
    made.columns[0].max_width = _LONGEST_NAME
    for holding in sorted(held, key=lambda found: _ORDER.index(found.kind)):
        watch = [alarm.word for alarm in of_holding(holding, day)] if holding.mass else []
        made.add_row(
            styled(shorten(holding.name, 2 * _LONGEST_NAME)),
            styled(format_mass(holding.mass, unit=False)),
            Text.assemble(
                *((f"{remark}\n", "dim") for remark in _remarks(holding)),
                (f"! {', '.join(watch)}\n" if watch else "", "bold yellow"),
                "\n".join(composition_lines(holding, label=_LONGEST_LABEL + min(max(out.width - 80, 0), 12))),
            ),
            styled(_purpose(holding)),
        )
    out.print(made)
    out.print()
    total = sum(holding.mass for holding in held)
    line(out, "standing", f"{words.counted(len(held), 'item')}, {format_mass(total)}")
    count = sum(len(of_holding(holding, day)) for holding in held if holding.mass)
    if count:
        line(out, "watch", f"{words.counted(count, 'alarm')}: stock alarms tells what to do", "bold yellow")


def _remarks(holding: Holding) -> list[str]:
    """What is written on it, where it stands, until when it is good: one line each."""
    said = [shorten(text, 32) for text in (holding.title, holding.stands_at or "") if plain(text)]
    dates = [f"{word} {day}" for word, day in (("opened", holding.opened), ("retest by", holding.retest_by)) if day]
    return [*said, *dates]


def composition_lines(holding: Holding, *, everything: bool = False, label: int = 30) -> list[str]:
    """Component and interval, one line each; traces only with ``everything``."""
    made = holding.composition
    if not made:
        return ["empty"]
    shown = [name for name in made if everything or made[name].high >= _TRACE] or list(made)
    labels = dict(zip(made, short_names(tuple(made), label), strict=True))
    long = max(len(labels[name]) for name in shown)
    return [f"{labels[name]:<{long}} {words.wt_percent(made[name], unit=False)}" for name in shown]


def _purpose(holding: Holding) -> str:
    return holding.decision or {"lot": "lot", "residue": "waste"}.get(holding.kind, "")


def show_alarms(found: Sequence[Alarm]) -> None:
    """What to look after; bottles with the same sentence are told together."""
    out = console()
    if not found:
        out.print(styled("Nothing to look after."))
        return
    for alarm, names in together(found):
        out.print(styled(f"{alarm.word}: {', '.join(names)}", "bold yellow"))
        line(out, "", alarm.text)
    for advice in dict.fromkeys(advice for alarm in found for advice in alarm.advice):  # each once
        out.print()
        line(out, "", advice.text)
        line(out, "", f"Source: {advice.source}", "dim")
    out.print()
    line(out, "", words.LOCAL_RULES, "bold")


def show_lineage(held: Holding, direction: str, links: Sequence[Link]) -> None:
    """A tree: each material or place with its mass and share."""
    out = console()
    holds = f"holds {format_mass(held.mass)}" if held.mass else "is empty"
    out.print(
        styled(f"{held.name} {holds}; {'it is made of' if direction == 'from' else 'what was in it is now in'}", "bold")
    )
    if not links:
        out.print(styled("nothing"))
    for link in links:
        _branch(out, link, direction, 0)


def _branch(out: Console, link: Link, direction: str, depth: int) -> None:
    name = shorten(link.name, 30)
    if link.what == "run":
        name += " (distilled again)"
    elif link.what == "outside":
        name += " (from outside)"
    text = f"{'  ' * min(depth, 12)}{format_mass(link.mass):>10} {100 * link.share:5.1f} %  {name}"
    title = f"  {plain(link.title)}" if link.title and depth == 0 else ""
    out.print(_cut(text + title, out.width))
    if link.links:
        said = "its run was charged with" if direction == "from" else "what came out of that run, all of it, is now in"
        out.print(_cut(f"{'  ' * min(depth + 1, 12)}{said}", out.width))
    for further in link.links:
        _branch(out, further, direction, depth + 1)


def _cut(text: str, width: int) -> Text:
    from rich.text import Text

    return Text(text if len(text) <= width else text[: width - 1] + "…")


def show_run(stock: Stock, name: str) -> None:
    """What was just entered of a run."""
    from fractionkit.stock.campaign import campaign
    from fractionkit.stock.restated import restated

    run = next(run for run in campaign(stock.ledger).runs if run.run == name)
    out = console()
    again = f" ({format_mass(run.recycled)} of it out of bottles)" if run.recycled else ""
    line(out, "charge", f"{format_mass(run.fresh + run.recycled)}{again}")
    line(out, "cuts", ", ".join(f"{format_mass(mass)} to {decision}" for decision, mass in run.cuts.items()))
    line(out, "residue", format_mass(run.residue))
    line(out, "loss", format_mass(run.loss))
    for component, more in restated(stock.ledger, name).items():
        side = "more" if more.estimate > 0.0 else "less"
        size = more if side == "more" else Estimate(-more.estimate, -more.high, -more.low)
        told = f"the run shows {words.grams_interval(size)} {side} {component} than was in what was charged"
        line(out, "!", f"{told}: was it this bottle, and is its label right?", "bold yellow")
