"""`fractionkit stock …`: the bench logbook. Commands that book, ask and keep."""

from __future__ import annotations

import typer

from fractionkit.cli.stock import acts, ask, keep

app = typer.Typer(
    help="The bench logbook: runs, cuts, bottles and lots, what stands where and where it came from.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
for name, act in (
    ("enter", acts.enter),
    ("revise", acts.revise),
    ("receive", acts.receive),
    ("fill", acts.fill),
    ("pour", acts.pour),
    ("lot", acts.lot),
    ("use", acts.use),
    ("sell", acts.sell),
    ("dispose", acts.dispose),
    ("weigh", acts.weigh),
    ("note", acts.note),
    ("undo", acts.undo),
    ("list", ask.shelf),
    ("show", ask.show),
    ("from", ask.back),
    ("to", ask.forth),
    ("yield", ask.yields),
    ("charge", ask.charge),
    ("alarms", ask.alarms),
    ("log", ask.log),
    ("check", keep.check),
    ("backup", keep.backup),
    ("export", keep.export),
    ("import", keep.import_),
):
    app.command(name)(act)
