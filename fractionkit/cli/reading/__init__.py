"""`fractionkit reading …`: one correction at the prompt, one module a matter."""

from __future__ import annotations

import typer

from fractionkit.cli.reading import boiling, density, index, plan, pressure, thermometer

app = typer.Typer(
    help="Correct one reading: pressure, thermometer, density, refractive index, boiling point.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
# A reading below zero starts with a minus sign; it must not be taken for an option.
NEGATIVE = {"ignore_unknown_options": True}

app.command("pressure", context_settings=NEGATIVE)(pressure.command)
app.command("thermometer", context_settings=NEGATIVE)(thermometer.command)
app.command("density", context_settings=NEGATIVE)(density.command)
app.command("refractive-index", context_settings=NEGATIVE)(index.command)
app.command("boiling-point", context_settings=NEGATIVE)(boiling.command)
app.command("plan")(plan.command)
