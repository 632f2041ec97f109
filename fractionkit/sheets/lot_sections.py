"""LOT.toml, schema ``fractionkit/lot-sheet/1``: its sections and the reader that notes their faults."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from fractionkit.quantities import Quantity
from fractionkit.sheets.fields import QuantityOf, Texts
from fractionkit.sheets.runfile import RunSheet
from fractionkit.sheets.sections import Confidence, Purity, Section, _required

LONGEST_NUMBER = 60

Part = Annotated[
    Quantity,
    QuantityOf("probability", 0.0, 1.0, "a part of a cut, from 0 to 1", "0.25", bare_unit="", exact=True),
]
LotMass = Annotated[
    Quantity,
    QuantityOf("mass", 0.0, 1e4, "a mass of more than 0 and at most 10,000 kg", "500 g", above=True, exact=True),
]
SomeMass = Annotated[Quantity, QuantityOf("mass", 0.0, 1e4, "a mass from 0 to 10,000 kg", "0.2 kg", exact=True)]
ExpectedMass = Annotated[
    Quantity, QuantityOf("mass", 0.0, 1e4, "a mass of more than 0 and at most 10,000 kg", "430 ± 60 g", above=True)
]
Hours = Annotated[Quantity, QuantityOf("time", 0.0, 1e8, "a time from 0 to three years", "6 h", exact=True)]
Energy = Annotated[Quantity, QuantityOf("energy", 0.0, 1e13, "an energy of 0 or more", "5 kWh", exact=True)]
TestTemperature = Annotated[
    Quantity,
    QuantityOf("temperature", 253.15, 353.15, "a temperature between -20 and 80 °C", "20 °C", exact=True),
]


def _money() -> Any:
    """A field of an amount of money; None where not told."""
    words = "an amount of money of 0 or more, a number without quotation marks, like 18.50"
    return Field(None, ge=0.0, le=1e9, strict=True, allow_inf_nan=False, description=words)


class LotSection(Section):
    """What the lot is called, and what it may be made of besides runs."""

    title: str | None = Field(None, description="a text in quotation marks")
    date: datetime.date | None = Field(None, description="a date like 2026-05-10")
    number: str | None = Field(
        None,
        min_length=1,
        max_length=LONGEST_NUMBER,
        pattern=r"^[^\x00-\x1f\x7f]+$",
        description=f"a text of 1 to {LONGEST_NUMBER} characters in quotation marks, like 'L-7'",
    )
    bottles: Texts = Field([], description='bottles of the stock, like ["B12", "B14"]')
    stock: str | None = Field(None, description="the file of the stock in quotation marks")
    grades: str | None = Field(None, description="a file or folder of your own grades in quotation marks")
    storage: Texts = Field([], description='texts for the label, like ["dark, below 25 °C"]')


class RunPart(Section):
    """A run whose cuts may be used."""

    model_config = _required("path")
    path: str | None = Field(None, description='the folder of a run in quotation marks, like "../run-7"')
    cuts: Texts | None = Field(None, min_length=1, description='cuts of the run, like ["C7", "C8"]; all by default')


class WantedSection(Section):
    """One lot that is wanted."""

    model_config = _required("component", "purity")
    component: str | None = Field(None, description="the name of a substance in quotation marks")
    purity: Purity | None = None
    confidence: Confidence | None = None
    rule: Literal["guarded", "simple", "rounded"] = Field("guarded", description="'guarded', 'simple' or 'rounded'")
    grade: Texts = Field([], description='grades to hold it against, like ["laboratory"]; all known by default')
    price: float | None = _money()
    whole: bool = Field(False, strict=True, description="true: cuts go in whole or not at all; false")
    least_part: Part | None = None
    most: LotMass | None = None


class LotTestSection(Section):
    """One attribute tested otherwise than by distilling."""

    model_config = _required("attribute", "result")
    attribute: str | None = Field(None, min_length=1, max_length=60, description='what was tested, like "water"')
    result: str | int | float | None = Field(None, description='what was found, like "0.008 ± 0.002 wt%"')
    method: str = Field("", description="how, a text in quotation marks")
    temperature: TestTemperature | None = None
    lot: int | None = Field(None, ge=1, strict=True, description="the number of the [[target]] it belongs to, from 1")


class StabiliserSection(Section):
    """Stabiliser that was added again."""

    model_config = _required("added")
    added: str | None = Field(None, min_length=1, description='what was added, like "ethanol"')
    amount: str = Field("", description='how much of the lot, like "0.7 wt%"')
    date: datetime.date | None = Field(None, description="the date it was added, like 2026-05-10")
    retest: datetime.date | None = Field(None, description="the date to test again, like 2026-11-10")
    lot: int | None = Field(None, ge=1, strict=True, description="the number of the [[target]] it went into, from 1")


class EffortKeys(Section):
    """What a distillation takes."""

    labour: Hours | None = None
    energy: Energy | None = None
    makeup: SomeMass | None = None


class EconomicsSection(EffortKeys):
    """Prices, all your own, and what this distillation took."""

    currency: str = Field("", max_length=12, description='the currency, like "EUR"')
    labour_rate: float | None = _money()
    energy_price: float | None = _money()
    makeup_price: float | None = _money()
    disposal_price: float | None = _money()
    new_price: float | None = _money()


class AnotherPassSection(EffortKeys):
    """Distilling once more what was left over."""

    model_config = _required("kept")
    kept: ExpectedMass | None = None


class LotFile(Section):
    """LOT.toml, the sheet of one or several lots made of the cuts of runs and of bottles."""

    model_config = _required("lot", "target")
    lot: LotSection | None = None
    run: list[RunPart] | None = None
    target: list[WantedSection] | None = None
    test: list[LotTestSection] | None = None
    stabiliser: StabiliserSection | None = None
    economics: EconomicsSection | None = None
    another_pass: AnotherPassSection | None = None


class LotSheetReader(RunSheet):
    """The sections of one LOT.toml, read as `RunSheet` reads run.toml."""

    sections = LotFile
