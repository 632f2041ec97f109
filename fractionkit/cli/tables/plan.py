"""The plan on a terminal: set-ups compared, then the best one's receivers and what must be known beside them.

No markup is ever read from what a user typed: every text is set in as `rich.text.Text` without control characters.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.cli import terminal
from fractionkit.cli.terminal import heading, line, styled
from fractionkit.figures.labels import plain, short_names, shorten
from fractionkit.planning.model import Plan, Trial
from fractionkit.quantities import format_probability, format_typed
from fractionkit.report import plan_words as words
from fractionkit.report.words import cautions_told, sentence

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

MOST_ROWS = 30
"""Trials listed; JSON and report hold all."""

_WIDEST_NAME = 20
_WIDE = 100
"""Columns of a terminal from which on the assay and the heat are shown too."""


def show(plan: Plan, console: Console | None = None) -> None:
    """Print the plan; nothing printed is wider than the console."""
    out = console or terminal.console()
    asked = f"for {words.wanted(plan)}, probability {format_typed(plan.confidence, '%')}, at {words.pressure(plan)}"
    heading(out, plan.title, plan.date, "Untitled plan", f"{asked}; ranked by {words.RANKS[plan.rank]}")
    out.print()
    out.print(setup_table(plan, out.width))
    hidden = sum(trial.reaches for trial in plan.trials) - MOST_ROWS
    if hidden > 0:
        line(out, "", f"{hidden} more rows: --json and --report hold all.")
    _answer(out, plan)
    best = plan.best
    if best is not None:
        out.print()
        out.print(receiver_table(plan, best, out.width))
        out.print()
    _rest(out, plan)


def setup_table(plan: Plan, width: int) -> Table:
    """One row a set-up and reflux ratio that reaches the target, in rank; where none does, the limits of all."""
    wide = width >= _WIDE
    able = [trial for trial in plan.trials if trial.reaches]
    table = terminal.table()
    table.add_column("set-up", max_width=_WIDEST_NAME + 2, overflow="fold")
    for name in ("stages", "reflux"):
        table.add_column(name, justify="right", no_wrap=True)
    if not able:
        table.add_column(styled(f"at most, wt% {shorten(plan.target, 20)}"), justify="right")
        for trial in plan.trials[:MOST_ROWS]:
            limit = "–" if trial.limit is None else f"{100 * trial.limit:.4g}"
            table.add_row(*map(styled, (*_set_up(trial), limit)))
        return table
    for name in (f"kept, {words.unit(plan)}", "recov., %", *(("heat, MJ",) if wide else ()), "h", "water, L"):
        table.add_column(name, justify="right", no_wrap=True)
    for trial in able[:MOST_ROWS]:
        costs = trial.costs
        cells = [*_set_up(trial), words.kept(trial, words.unit(plan)), words.percent(trial.recovery, whole=wide)]
        if wide:
            cells.append(words.megajoules(costs.heat if costs else None))
        cells += [words.hours(costs.time if costs else None), words.litres(costs.coolant if costs else None)]
        table.add_row(*map(styled, cells))
    return table


def _set_up(trial: Trial) -> tuple[str, str, str]:
    return shorten(trial.setup.name, 2 * _WIDEST_NAME), words.stages(trial), words.reflux(trial)


def receiver_table(plan: Plan, trial: Trial, width: int) -> Table:
    """The receivers of one set-up: when to change, what is in each, what becomes of it.

    Every component has a column where there is room, otherwise only the target.
    """
    cuts, unit = trial.cuts, words.unit(plan)
    table = terminal.table(("", "fixed"), ("take away at", "fixed"), ("head, °C", "right"), (f"mass, {unit}", "right"))
    target = plan.components.index(plan.target)
    room = (width - 66) // 20
    shown = list(range(len(plan.components))) if room >= len(plan.components) else [target]
    names = [f"wt% {name}" for name in short_names([plan.components[i] for i in shown], 15)]
    for name in names if len(shown) == len(plan.components) else ["target, wt%"]:
        table.add_column(styled(name), justify="right", overflow="fold")
    table.add_column("", no_wrap=True)
    for receiver in cuts.receivers if cuts else ():
        assert cuts is not None
        table.add_row(
            *map(
                styled, (receiver.name, words.change(cuts, receiver), words.head(receiver), words.mass(receiver, unit))
            ),
            *(styled(words.share(receiver, i)) for i in shown),
            styled(receiver.decision, "bold green" if receiver.decision == "keep" else ""),
        )
    return table


def _answer(console: Console, plan: Plan) -> None:
    console.print()
    line(console, "best", words.headline(plan), "bold green" if plan.best else "bold red")
    line(console, "", words.verdict(plan))
    reasons: dict[str, list[str]] = {}
    for trial in plan.trials:
        if not trial.reaches:
            where = f"{plain(trial.setup.name)}" + (f" at {trial.reflux:g}" if trial.setup.stages > 1.0 else "")
            reasons.setdefault(trial.impossible, []).append(where)
    for text, names in list(reasons.items())[:8]:
        shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
        line(console, "–", f"{shown}: {text}")


def _rest(console: Console, plan: Plan) -> None:
    best = plan.best
    if best is not None and best.cuts is not None:
        for place, text in enumerate(best.cuts.text[1:]):
            line(console, "do" if place == 0 else "", text)
        portions = "; ".join(f"{name}: {words.portion(best, name)}" for name in ("recycle", "redistil", "waste"))
        line(console, "rest", f"{portions}; left in pot and column {words.grams(best.rest)}")
        if best.costs is not None and best.costs.time is not None:
            line(
                console, "takes",
                f"{words.hours(best.costs.time)} h until the heart is in its receiver, {words.megajoules(best.costs.heat)} MJ "
                f"of heat, {words.litres(best.costs.coolant)} L of cooling water",
            )  # fmt: skip
        if best.shortcut is not None:
            line(console, "check", sentence(words.sanity(plan, best.shortcut)))
    line(console, "charge", words.feed(plan))
    line(console, "thermometer", f"{words.thermometer(plan)}; head temperatures are told as it will read")
    for flag in plan.flags:
        line(console, "!", flag.text, "bold yellow")
    line(console, "cautions", cautions_told(plan.cautions), "bold")
    chance = format_probability(plan.confidence)
    line(
        console, "intervals",
        f"95 %, over {plan.scenarios} scenarios of feed, pressure, thermometer, stages, hold-up and vapour-liquid model; "
        f"what is kept meets the target in {chance} of them or more",
    )  # fmt: skip
