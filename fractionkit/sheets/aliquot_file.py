"""aliquots.toml, schema ``fractionkit/aliquots/1``: its sections and the reader that notes their faults."""

from __future__ import annotations

import datetime
from typing import Annotated

from pydantic import Field

from fractionkit.quantities import Quantity
from fractionkit.sheets.fields import QuantityOf
from fractionkit.sheets.runfile import RunSheet
from fractionkit.sheets.sections import DensitySection, IndexSection, Section, _required

Tolerance = Annotated[
    Quantity,
    QuantityOf(
        "fraction", 0.0, 0.5, "a mass fraction, more than 0 and at most 50 wt%", "0.5 wt%", above=True, exact=True
    ),
]
Interval = Annotated[
    Quantity,
    QuantityOf("time", 0.0, 1e8, "a time, more than 0 and at most three years", "30 min", above=True, exact=True),
]


class HeadSection(Section):
    """What was sampled, and where the samples stand."""

    model_config = _required("components")
    title: str | None = Field(None, description="a text in quotation marks")
    date: datetime.date | None = Field(None, description="a date like 2026-05-09")
    components: list[str] | None = Field(None, description='two or three substances, like ["chloroform", "ethanol"]')
    follow: str | None = Field(None, description="the component whose levelling off is judged; the first by default")
    samples: str = Field("aliquots.csv", description='the file of the samples in quotation marks, like "aliquots.csv"')


class LevelSection(Section):
    """What counts as levelled off: less change than ``tolerance`` in an ``interval``."""

    model_config = _required("tolerance", "interval")
    tolerance: Tolerance | None = None
    interval: Interval | None = None


class AliquotFile(Section):
    """aliquots.toml, the sheet of one series of samples; they stand in a CSV file beside it."""

    model_config = _required("run")
    run: HeadSection | None = None
    density: DensitySection | None = None
    refractive_index: IndexSection | None = None
    level: LevelSection | None = None


class AliquotSheet(RunSheet):
    """The sections of one aliquots.toml, read as `RunSheet` reads run.toml."""

    sections = AliquotFile
