"""Public names, asserted literally: a name that others rely on does not come or go by accident."""

from __future__ import annotations

import importlib

import pytest
import typer.main

import fractionkit
from fractionkit.cli import main

ROOMS = {
    "fractionkit.assessment": {"Assessment", "assess"},
    "fractionkit.sheets": {
        "SCHEMA_ID", "ChargeEntry", "CutTable", "DensityEntry", "IndexEntry", "PressureEntry", "ResultEntry", "Run",
        "StemEntry", "TargetEntry", "TestEntry", "ThermometerEntry", "load_run", "schema",
    },
    "fractionkit.mixture": {
        "ActivityPair", "AzeotropePoint", "ExcessVolume", "Mixture", "ModelError", "activity_pairs", "excess_volumes",
    },
    "fractionkit.lots": {
        "Combination", "Material", "Takes", "Verdict", "Wanted", "choose", "combine", "decide", "frontier", "meets", "takes",
        "together",
    },
    "fractionkit.release": {"Release", "make_lots", "sheet_of_runs"},
    "fractionkit.stages": {"FittedStill", "StillFit", "fit", "fitted", "total_reflux_stages"},
    "fractionkit.stock": {"Holding", "Stock", "default_path", "open_stock"},
    "fractionkit.still": {
        "Charge", "ConstantVolatility", "Cuts", "Distillation", "Equilibrium", "FittedVolatility", "Steered", "Stepped",
        "TabulatedVolatility", "distil",
    },
}  # fmt: skip


def test_the_package():
    assert fractionkit.__all__ == ["Mixture", "assess", "distil", "load_run"]
    assert set(fractionkit.__all__) <= set(dir(fractionkit))
    for name in fractionkit.__all__:
        assert callable(getattr(fractionkit, name))
    with pytest.raises(AttributeError, match="no attribute 'asses'"):
        _ = fractionkit.asses  # type: ignore[attr-defined]


@pytest.mark.parametrize("room", ROOMS)
def test_a_room(room):
    module = importlib.import_module(room)
    assert set(module.__all__) == ROOMS[room]
    for name in module.__all__:
        assert hasattr(module, name)


def test_the_commands():
    command = typer.main.get_command(main.app)
    assert sorted(command.commands) == [
        "aliquots", "assess", "campaign", "demo", "during", "grades", "lot", "plan", "reading", "stages", "stock",
        "substance",
    ]  # fmt: skip
    stock = command.commands["stock"]
    assert sorted(stock.commands) == [
        "alarms", "backup", "charge", "check", "dispose", "enter", "export", "fill", "from", "import", "list", "log", "lot",
        "note", "pour", "receive", "revise", "sell", "show", "to", "undo", "use", "weigh", "yield",
    ]  # fmt: skip
    reading = command.commands["reading"]
    assert sorted(reading.commands) == [
        "boiling-point",
        "density",
        "plan",
        "pressure",
        "refractive-index",
        "thermometer",
    ]


def test_the_options_of_assess():
    assess = typer.main.get_command(main.app).commands["assess"]
    assert [option for parameter in assess.params for option in parameter.opts] == [
        "run",
        "--json",
        "--report",
        "--advise",
    ]
