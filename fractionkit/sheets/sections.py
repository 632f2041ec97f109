"""The sections of run.toml as pydantic models, schema ``fractionkit/run/1``.

Every key is optional here, so that a section with one wrong value can still be read for the faults of the others;
what must be present is checked in `fractionkit.sheets.entries`, and listed here for the JSON schema only.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from fractionkit.quantities import Quantity
from fractionkit.sheets.fields import QuantityOf

_ICE = 273.15


def _celsius(low: float, high: float, what: str, example: str) -> QuantityOf:
    limits = f"{what} between {low:g} and {high:g} °C"
    return QuantityOf("temperature", low + _ICE, high + _ICE, limits, example, exact=True)


def _kelvins(what: str, example: str) -> QuantityOf:
    limits = f"{what} from 0.001 to 20 degrees"  # no thermometer at a still is finer
    return QuantityOf("temperature_difference", 1e-3, 20.0, limits, example, exact=True, half_width=True)


def _fraction(what: str, example: str) -> QuantityOf:
    limits = f"{what}, more than 0 and less than 100 wt%"
    return QuantityOf("fraction", 0.0, 1.0, limits, example, above=True, below=True, exact=True)


Station = Annotated[Quantity, QuantityOf("pressure", 20e3, 200e3, "a pressure from 20 to 200 kPa", "98.6 ± 0.4 kPa")]
SeaLevel = Annotated[Quantity, QuantityOf("pressure", 85e3, 110e3, "a pressure from 850 to 1100 hPa", "1019 hPa")]
Altitude = Annotated[Quantity, QuantityOf("length", -500.0, 6000.0, "a height from -500 to 6000 m", "640 m")]
IcePoint = Annotated[Quantity, QuantityOf("temperature", _ICE - 20, _ICE + 20, "a reading from -20 to 20 °C", "0.3 °C")]
SteamPoint = Annotated[
    Quantity, QuantityOf("temperature", _ICE + 55, _ICE + 130, "a reading from 55 to 130 °C", "99.1 °C")
]
TemperatureBias = Annotated[Quantity, _kelvins("a 95 % half-width", "0.8 degC")]
Correction = Annotated[
    Quantity,
    QuantityOf("temperature_difference", -20.0, 20.0, "a correction from -20 to 20 degrees", "-0.4 degC", exact=True),
]
Exposed = Annotated[
    Quantity,
    QuantityOf(
        "temperature_difference", 0.0, 400.0, "from 0 to 400 degrees of scale", "60 degC", bare_unit="°C", exact=True
    ),
]
RoomTemperature = Annotated[Quantity, _celsius(-30, 120, "a temperature", "20 °C")]
WaterTemperature = Annotated[Quantity, _celsius(0, 40, "a temperature of liquid water", "20 °C")]
DensityError = Annotated[
    Quantity,
    QuantityOf(
        "density_difference",
        1e-3,
        200.0,
        "a 95 % half-width from 0.000001 to 0.2 g/mL",
        "0.001 g/mL",
        exact=True,
        half_width=True,
    ),
]
Mass = Annotated[
    Quantity, QuantityOf("mass", 0.0, 1000.0, "a mass of more than 0 and at most 1000 kg", "1480 g", above=True)
]
VesselMass = Annotated[
    Quantity,
    QuantityOf("mass", 0.0, 10.0, "a mass of more than 0 and at most 10 kg", "31.2045 g", above=True, exact=True),
]
Volume = Annotated[
    Quantity, QuantityOf("volume", 0.0, 1.0, "a volume of more than 0 and at most 1000 L", "1000 mL", above=True)
]
Density = Annotated[Quantity, QuantityOf("density", 500.0, 3500.0, "a density from 0.5 to 3.5 g/mL", "1.482 g/mL")]
Share = Annotated[
    Quantity,
    QuantityOf("fraction", 0.0, 1.0, "a mass fraction from 0 to 100 wt%", "30 ± 10 wt%"),
]
Purity = Annotated[Quantity, _fraction("a mass fraction", "99 wt%")]
DetectionLimit = Annotated[Quantity, _fraction("a mass fraction", "0.3 wt%")]
Confidence = Annotated[
    Quantity,
    QuantityOf(
        "probability",
        0.5,
        1.0,
        "a probability above 0.5 and below 1",
        "0.95",
        above=True,
        below=True,
        bare_unit="",
        exact=True,
    ),
]
IndexError95 = Annotated[
    Quantity,
    QuantityOf(
        "refractive_index_difference",
        1e-6,
        0.1,
        "a 95 % half-width from 0.000001 to 0.1",
        "0.0005",
        bare_unit="",
        exact=True,
        half_width=True,
    ),
]

ColumnStages = Annotated[
    Quantity,
    QuantityOf("number", 1.0, 30.0, "1 to 30 theoretical stages, the pot counted as one", "5 ± 1", bare_unit=""),
]
RefluxRatio = Annotated[
    Quantity, QuantityOf("number", 0.0, 100.0, "a reflux ratio L/D from 0 to 100", "3 ± 0.5", bare_unit="")
]


class Section(BaseModel):
    """Base of all sections: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _required(*keys: str) -> ConfigDict:
    extra: JsonDict = {"required": list(keys)}
    return ConfigDict(extra="forbid", frozen=True, json_schema_extra=extra)


class RunSection(Section):
    """What was distilled, and where the cuts stand."""

    model_config = _required("components")
    title: str | None = Field(None, description="a text in quotation marks")
    date: datetime.date | None = Field(None, description="a date like 2026-05-09")
    components: list[str] | None = Field(
        None,
        json_schema_extra={"minItems": 2},
        description='two or more substances, like ["trichloroethylene", "tetrachloroethylene"]',
    )
    order: Literal["light to heavy", "any"] = Field(
        "light to heavy",
        description="'light to heavy', or 'any' where the reflux was raised midway or charge was added",
    )
    cuts: str = Field("cuts.csv", description='the file of the cuts in quotation marks, like "cuts.csv"')


class PressureSection(Section):
    """The pressure at the still; never guessed."""

    station: Station | None = None
    sea_level: SeaLevel | None = None
    altitude: Altitude | None = None


class StemSection(Section):
    """The emergent stem of the head thermometer."""

    model_config = _required("exposed", "temperature")
    exposed: Exposed | None = None
    temperature: RoomTemperature | None = None
    liquid: Literal["mercury", "alcohol"] = Field("mercury", description="'mercury' or 'alcohol'")


class ThermometerSection(Section):
    """The head thermometer."""

    bias: TemperatureBias | None = None
    repeat: TemperatureBias | None = None
    correction: Correction | None = None
    ice_point: IcePoint | None = None
    steam_point: SteamPoint | None = None
    stem: StemSection | None = Field(
        None, description="""{ exposed = 60, temperature = "30 degC", liquid = "mercury" }"""
    )


class DensitySection(Section):
    """How densities were measured."""

    bias: DensityError | None = None
    repeat: DensityError | None = None
    method: Literal["meter", "pycnometer", "flask", "hydrometer", "syringe"] | None = Field(
        None, description="'meter', 'pycnometer', 'flask', 'hydrometer' or 'syringe'"
    )
    vessel: Literal["pycnometer", "flask", "syringe"] | None = Field(
        None, description="'pycnometer', 'flask' or 'syringe'"
    )
    empty_mass: VesselMass | None = None
    water_mass: VesselMass | None = None
    water_temp: WaterTemperature | None = None
    thermometer_bias: TemperatureBias | None = None
    thermometer_repeat: TemperatureBias | None = None
    calibration_temp: RoomTemperature | None = None


class IndexSection(Section):
    """The refractometer."""

    bias: IndexError95 | None = None
    repeat: IndexError95 | None = None


class ChargeSection(Section):
    """The charge, or the residue."""

    mass: Mass | None = None
    volume: Volume | None = None
    density: Density | None = None
    density_temp: RoomTemperature | None = None
    composition: dict[str, Share] | None = Field(None, description="""{ chloroform = "30 ± 10 wt%" }""")


class HoldupSection(Section):
    """What is left wetting the still."""

    model_config = _required("mass")
    mass: Mass | None = None


class ColumnSection(Section):
    """The still that was used: with stages its own equation is evidence on what is in the cuts."""

    stages: ColumnStages | None = None
    reflux: RefluxRatio | None = None


class TargetSection(Section):
    """What is wanted of the lot."""

    model_config = _required("component", "purity")
    component: str | None = Field(None, description="the name of a component in quotation marks")
    purity: Purity | None = None
    confidence: Confidence | None = None


class TestSection(Section):
    """One qualitative test of one cut."""

    model_config = _required("cut", "component", "result", "detection_limit")
    cut: str | None = Field(None, description="the name of a cut in quotation marks")
    component: str | None = Field(None, description="the name of a component in quotation marks")
    result: Literal["positive", "negative"] | None = Field(None, description="'positive' or 'negative'")
    detection_limit: DetectionLimit | None = None


class ResultSection(Section):
    """A mass fraction found elsewhere in one cut, like a second laboratory's."""

    model_config = _required("cut", "component", "fraction")
    cut: str | None = Field(None, description="the name of a cut in quotation marks")
    component: str | None = Field(None, description="the name of a component in quotation marks")
    fraction: Share | None = None


class RunFile(Section):
    """run.toml, the sheet of one distillation; the cuts stand in a CSV file beside it."""

    model_config = _required("run", "pressure")
    run: RunSection | None = None
    charge: ChargeSection | None = None
    residue: ChargeSection | None = None
    holdup: HoldupSection | None = None
    still: ColumnSection | None = None
    pressure: PressureSection | None = None
    thermometer: ThermometerSection | None = None
    density: DensitySection | None = None
    refractive_index: IndexSection | None = None
    target: TargetSection | None = None
    test: list[TestSection] | None = None
    result: list[ResultSection] | None = None
