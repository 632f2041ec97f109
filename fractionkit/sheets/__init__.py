"""The files that people write, read into validated models."""

from fractionkit.sheets.model import (
    ChargeEntry,
    CutTable,
    DensityEntry,
    IndexEntry,
    PressureEntry,
    Run,
    StemEntry,
    TargetEntry,
    TestEntry,
    ThermometerEntry,
)

__all__ = [
    "ChargeEntry",
    "CutTable",
    "DensityEntry",
    "IndexEntry",
    "PressureEntry",
    "Run",
    "StemEntry",
    "TargetEntry",
    "TestEntry",
    "ThermometerEntry",
]
