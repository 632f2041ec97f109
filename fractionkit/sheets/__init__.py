"""The files that people write, read into validated models."""

from fractionkit.sheets.load import load_run
from fractionkit.sheets.model import (
    ChargeEntry,
    CutTable,
    DensityEntry,
    IndexEntry,
    PressureEntry,
    ResultEntry,
    Run,
    StemEntry,
    TargetEntry,
    TestEntry,
    ThermometerEntry,
)
from fractionkit.sheets.schema import SCHEMA_ID, schema

__all__ = [
    "SCHEMA_ID",
    "ChargeEntry",
    "CutTable",
    "DensityEntry",
    "IndexEntry",
    "PressureEntry",
    "ResultEntry",
    "Run",
    "StemEntry",
    "TargetEntry",
    "TestEntry",
    "ThermometerEntry",
    "load_run",
    "schema",
]
