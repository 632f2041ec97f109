"""The sections of STILL.toml as pydantic models, schema ``fractionkit/still/1``; every key optional, as in run.toml."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from fractionkit.quantities import Quantity
from fractionkit.sheets.fields import QuantityOf, Texts
from fractionkit.sheets.sections import (
    Mass,
    PressureSection,
    Section,
    TargetSection,
    ThermometerSection,
    _celsius,
    _required,
)


@dataclass(frozen=True)
class ShareOrRest(QuantityOf):
    """A mass fraction, or the word "rest" (read as None)."""

    def read(self, value: Any) -> Quantity | None:  # type: ignore[override]
        """The quantity, None for "rest"."""
        return None if value == "rest" else super().read(value)


def _time(example: str, *, above: bool = True) -> QuantityOf:
    limits = "a time of at most 1000 h"
    return QuantityOf("time", 0.0, 3.6e6, limits, example, above=above, exact=True)


Part = Annotated[
    Quantity | None, ShareOrRest("fraction", 0.0, 1.0, 'a mass fraction from 0 to 100 wt%, or "rest"', "40 ± 3 wt%")
]
Heater = Annotated[
    Quantity,
    QuantityOf("power", 0.0, 1e5, "a power of more than 0 and at most 100 kW", "300 W", above=True),
]
Flow = Annotated[
    Quantity,
    QuantityOf("flow", 0.0, 1e-3, "a flow of liquid, more than 0 and at most 60 L/min", "8 mL/min", above=True),
]
PotVolume = Annotated[
    Quantity,
    QuantityOf("volume", 0.0, 1.0, "a volume of more than 0 and at most 1000 L", "3 L", above=True, exact=True),
]
HeelVolume = Annotated[Quantity, QuantityOf("volume", 0.0, 1.0, "a volume from 0 to 1000 L", "60 mL", exact=True)]
HeldVolume = Annotated[Quantity, QuantityOf("volume", 0.0, 1.0, "a volume from 0 to 1000 L", "25 ± 8 mL")]
CoolingWater = Annotated[Quantity, _celsius(-30, 60, "a temperature of cooling water", "15 °C")]
Rise = Annotated[
    Quantity,
    QuantityOf(
        "temperature_difference", 0.0, 60.0, "a rise of more than 0 and at most 60 degrees", "10 K", above=True,
        exact=True,
    ),
]  # fmt: skip
Stages = Annotated[
    Quantity,
    QuantityOf("number", 1.0, 100.0, "1 to 100 theoretical stages, the pot counted as one", "6 ± 1", bare_unit=""),
]
Reflux = Annotated[
    list[Annotated[float, Field(ge=0.0, le=1000.0, allow_inf_nan=False)]],
    BeforeValidator(lambda value: value if isinstance(value, list) else [value]),
]
Count = Annotated[int, Field(ge=1, le=1000, strict=True)]


class PlanSection(Section):
    """What the plan is called and how set-ups are ranked."""

    title: str | None = Field(None, description="a text in quotation marks")
    date: datetime.date | None = Field(None, description="a date like 2026-05-09")
    rank: Literal["kept mass", "kept mass per hour", "heat"] = Field(
        "kept mass", description="'kept mass', 'kept mass per hour' or 'heat'"
    )


class FeedSection(Section):
    """What is to be distilled."""

    mass: Mass | None = None
    composition: dict[str, Part] | None = Field(
        None, description="""{ trichloroethylene = "40 ± 3 wt%", tetrachloroethylene = "rest" }"""
    )
    run: str | None = Field(None, description='the folder of a run in quotation marks, like "../charge-7"')
    portion: Literal["keep", "recycle", "redistil", "waste"] | None = Field(
        None, description="'keep', 'recycle', 'redistil' or 'waste'"
    )
    cuts: Texts | None = Field(None, description='names of cuts of the run, like ["C3", "C4"]')
    bottles: Texts | None = Field(None, description='names of bottles on the shelf, like ["B12", "B15"]')
    stock: str | None = Field(None, description='the file of the shelf in quotation marks, like "shelf.db"')


class StillSection(Section):
    """The still: what heats, cools and receives."""

    heater: Heater | None = None
    boilup: Flow | None = None
    pot: PotVolume | None = None
    heel: HeelVolume | None = None
    cooling_in: CoolingWater | None = None
    cooling_rise: Rise | None = None
    longest: Annotated[Quantity, _time("8 h")] | None = None
    startup: Annotated[Quantity, _time("30 min", above=False)] | None = None
    receivers: Annotated[int, Field(ge=1, le=20, strict=True)] | None = Field(
        None, description="a whole number of receivers from 1 to 20, without quotation marks"
    )


class SetupSection(Section):
    """One set-up: a built-in column, a column of one's own, or the still of a run."""

    name: str | None = Field(None, description="a name in quotation marks")
    column: str | None = Field(None, description='a built-in column in quotation marks, like "vigreux 40"')
    run: str | None = Field(None, description='the folder of a run on this still, like "../test-mixture"')
    stages: Stages | None = None
    holdup: HeldVolume | None = None
    throughput: Flow | None = None
    reflux: Reflux | None = Field(
        None, description="reflux ratios L/D from 0 to 1000, without quotation marks, like [1, 3, 5]"
    )


class CampaignSection(Section):
    """Batches one after the other."""

    batches: Count | None = Field(None, description="a whole number of batches from 1 to 1000")
    carried: Annotated[int, Field(ge=0, le=20, strict=True)] | None = Field(
        None, description="a whole number from 0 to 20: cuts carried into the next charge at most"
    )


class StillFile(Section):
    """STILL.toml, the sheet of one plan."""

    model_config = _required("feed", "pressure")
    plan: PlanSection | None = None
    feed: FeedSection | None = None
    pressure: PressureSection | None = None
    thermometer: ThermometerSection | None = None
    target: TargetSection | None = None
    still: StillSection | None = None
    setup: list[SetupSection] | None = None
    campaign: CampaignSection | None = None
