"""`fractionkit reading …`: one correction at the prompt. The commands stand in reading_*.py, one module a matter."""

from __future__ import annotations

import typer

from fractionkit.cli import (
    reading_boiling,
    reading_density,
    reading_index,
    reading_plan,
    reading_pressure,
    reading_thermometer,
)

app = typer.Typer(
    help="Correct one reading: pressure, thermometer, density, refractive index, boiling point.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
# A reading below zero starts with a minus sign; it must not be taken for an option.
NEGATIVE = {"ignore_unknown_options": True}

app.command("pressure", context_settings=NEGATIVE)(reading_pressure.command)
app.command("thermometer", context_settings=NEGATIVE)(reading_thermometer.command)
app.command("density", context_settings=NEGATIVE)(reading_density.command)
app.command("refractive-index", context_settings=NEGATIVE)(reading_index.command)
app.command("boiling-point", context_settings=NEGATIVE)(reading_boiling.command)
app.command("plan")(reading_plan.command)
