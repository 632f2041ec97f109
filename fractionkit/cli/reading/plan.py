"""`fractionkit reading plan`: before any measurement, which reading can show a purity, and how well it must be taken."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs, deliver
from fractionkit.cli.terminal import WIDEST, console
from fractionkit.quantities import format_typed

if TYPE_CHECKING:
    from fractionkit.measurements.reach import PairPlan

NAMES = {"components": "--components", "target": "--target", "purity": "--purity", "": "--components"}


def command(
    components: Annotated[str, typer.Option("--components", help='What is in it, "chloroform, carbon tetrachloride".')],
    target: Annotated[str, typer.Option("--target", help="The component that is wanted.")],
    purity: Annotated[str, typer.Option("--purity", help='The purity to be shown, "99 wt%".')],
    confidence: Annotated[str, typer.Option("--confidence", help="Probability with which it is to hold.")] = "0.95",
    temp: Annotated[str, typer.Option("--temp", help="Temperature of density and refractive index.")] = "20 °C",
    pressure: Annotated[str, typer.Option("--pressure", help='Pressure at the still, "98.6 ± 0.1 kPa".')] = "101.3 kPa",
    json: JsonOption = None,
) -> None:
    """Which reading can show a purity.

    How far a density, a head temperature or a refractive index may be off, and which instruments are good enough.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.measurements.plan_words import json_text
    from fractionkit.measurements.reach import plan_pairs

    options = Options()
    wanted = options.read("--purity", purity, "fraction")
    chance = options.read("--confidence", confidence, "probability")
    warm, read = options.read("--temp", temp, "temperature"), options.read("--pressure", pressure, "pressure")
    names = [name.strip() for name in components.replace(";", ",").split(",") if name.strip()]
    if len(names) < 2:
        options.refuse("--components", components, "two or more substances with commas between")
    if chance is not None and not 0.5 < chance.value < 1.0:
        options.refuse("--confidence", confidence, "a probability above 0.5 and below 1")
    if warm is not None and not 243.15 <= warm.value <= 393.15:
        options.refuse("--temp", temp, "a temperature of the sample from -30 to 120 °C")
    if read is not None and not 20e3 <= read.value <= 200e3:
        options.refuse("--pressure", pressure, "a pressure from 20 to 200 kPa")
    options.check()
    assert wanted is not None  # what is required and could not be read has been refused
    assert chance is not None
    assert warm is not None
    assert read is not None
    with options_for(NAMES):
        plans = plan_pairs(
            names,
            target,
            wanted.value,
            confidence=chance.value,
            temperature=warm.value,
            pressure=read.value,
            pressure_u=read.u,
        )
    deliver(plans, show, (json, json_text))


def show(plans: tuple[PairPlan, ...]) -> None:
    """Print, for each pair, a table of the ways to read and what they tell, then the answer."""
    from rich.table import Table
    from rich.text import Text

    from fractionkit.measurements import plan_words

    out = console(WIDEST)
    for number, plan in enumerate(plans):
        if number:
            out.print()
        asked = f"{format_typed(plan.purity)} with a probability of {format_typed(plan.confidence, '%')}"
        out.print(Text(f"{plan.target} with {plan.other}: {asked}", style="bold"))
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for title, justify in (("reading", "left"), ("by", "left"), ("± 95 %", "right"), ("tells to", "right")):
            table.add_column(title, justify=justify)  # type: ignore[arg-type]
        table.add_column("enough")
        for need in plan.readings:
            for place, way in enumerate(need.ways):
                table.add_row(
                    Text(f"{need.kind}, {plan_words.per_wt_percent(need)}" if place == 0 else ""),
                    Text(way.way),
                    Text(plan_words.half_width(need, way.u)),
                    Text(plan_words.tells(way)),
                    Text("yes" if way.enough else "no", style="bold" if way.enough else "dim"),
                )
        out.print(table)
        for sentence in plan_words.sentences(plan):
            out.print()
            out.print(Text(sentence))
