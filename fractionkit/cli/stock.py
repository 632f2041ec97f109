"""`fractionkit stock …`: the bench logbook. The commands stand in stock_*.py."""

from __future__ import annotations

import typer

from fractionkit.cli import stock_acts, stock_ask, stock_keep

app = typer.Typer(
    help="The bench logbook: runs, cuts, bottles and lots, what stands where and where it came from.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
for name, act in (
    ("enter", stock_acts.enter),
    ("revise", stock_acts.revise),
    ("receive", stock_acts.receive),
    ("fill", stock_acts.fill),
    ("pour", stock_acts.pour),
    ("lot", stock_acts.lot),
    ("use", stock_acts.use),
    ("sell", stock_acts.sell),
    ("dispose", stock_acts.dispose),
    ("weigh", stock_acts.weigh),
    ("note", stock_acts.note),
    ("undo", stock_acts.undo),
    ("list", stock_ask.shelf),
    ("show", stock_ask.show),
    ("from", stock_ask.back),
    ("to", stock_ask.forth),
    ("yield", stock_ask.yields),
    ("charge", stock_ask.charge),
    ("alarms", stock_ask.alarms),
    ("log", stock_ask.log),
    ("check", stock_keep.check),
    ("backup", stock_keep.backup),
    ("export", stock_keep.export),
    ("import", stock_keep.import_),
):
    app.command(name)(act)
