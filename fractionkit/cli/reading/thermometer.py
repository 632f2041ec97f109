"""`fractionkit reading thermometer`: a temperature with the thermometer's offset, fixed points and emergent stem."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs

if TYPE_CHECKING:
    from fractionkit.cli.options import Options
    from fractionkit.quantities import Quantity
    from fractionkit.readings import Stem

NAMES = {
    "temperature": "READING",
    "pressure": "--pressure",
    "thermometer.ice_point": "--ice",
    "thermometer.steam_point": "--steam (with --pressure)",
    "thermometer.correction": "--correction",
    "thermometer.kind": "--kind",
    "thermometer.stem.exposed": "--exposed",
    "thermometer.stem.temperature": "--stem-temp",
    "thermometer.stem.liquid": "--stem-liquid",
}


def command(
    reading: Annotated[str, typer.Argument(metavar="READING", help='What the thermometer shows, "61.0 °C".')],
    correction: Annotated[
        str | None, typer.Option("--correction", help='Known correction, added to the reading, "-0.4 °C".')
    ] = None,
    ice: Annotated[str | None, typer.Option("--ice", help='What it shows in melting ice, "0.3 °C".')] = None,
    steam: Annotated[
        str | None, typer.Option("--steam", help='What it shows in steam over boiling water, "99.6 °C".')
    ] = None,
    pressure: Annotated[
        str | None, typer.Option("--pressure", help='Pressure when the steam point was read, "98.6 kPa".')
    ] = None,
    exposed: Annotated[
        str | None, typer.Option("--exposed", help='Degrees of the column outside the vapour, "60 K".')
    ] = None,
    stem_temp: Annotated[
        str | None, typer.Option("--stem-temp", help='Mean temperature of that part, "30 °C".')
    ] = None,
    stem_liquid: Annotated[
        str, typer.Option("--stem-liquid", help="mercury or alcohol (any organic liquid).")
    ] = "mercury",
    kind: Annotated[
        str | None, typer.Option("--kind", help="mercury, spirit or digital: uncertainties when none are written.")
    ] = None,
    bias: Annotated[
        str | None, typer.Option("--bias", help='95 % half-width of what it is off in every reading, "0.8 °C".')
    ] = None,
    json: JsonOption = None,
) -> None:
    """Temperature behind a reading.

    Offset, or ice and steam point; then the emergent stem.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.cli.reading.result import (
        Result,
        budget,
        combined,
        tell,
        typed,
        u_of,
        value_of,
    )
    from fractionkit.readings import correct_temperatures
    from fractionkit.readings.pressure import STATION_U

    options = Options()
    read = options.read("READING", reading, "temperature")
    shift = options.read("--correction", correction, "temperature_difference")
    frozen, boiled = options.read("--ice", ice, "temperature"), options.read("--steam", steam, "temperature")
    air = options.read("--pressure", pressure, "pressure")
    off = options.read("--bias", bias, "temperature_difference")
    stem = _stem(options, exposed, stem_temp, stem_liquid)
    options.check()
    assert read is not None  # a required argument that could not be read has been refused
    with options_for(NAMES):
        found = correct_temperatures(
            [read.value],
            bias=_bias(read, off),
            repeat=read.u,
            kind=kind,
            correction=0.0 if shift is None else shift.value,
            ice_point=value_of(frozen),
            ice_point_u=u_of(frozen),
            steam_point=value_of(boiled),
            steam_point_u=u_of(boiled),
            pressure=value_of(air),
            pressure_u=STATION_U if air is None or air.u is None else air.u,
            stem=stem,
        )
    value, u = combined(found)
    shown = typed(
        ("thermometer", reading), ("known correction", correction), ("in melting ice", ice), ("in steam", steam),
        ("pressure", pressure), ("column outside", exposed), ("temperature of the stem", stem_temp), ("bias", bias),
    )  # fmt: skip
    result = Result(
        "thermometer", "temperature", "temperature", "°C", value, u, shown,
        corrections=found.corrections,
        warnings=found.warnings,
        errors=budget(found, "temperature_difference", "K"),
    )  # fmt: skip
    tell(result, json)


def _bias(read: Quantity, off: Quantity | None) -> float | None:
    """Standard uncertainty, K, of what repeats; a ± typed at the prompt is all that the reading may be off."""
    from fractionkit.quantities import COVERAGE_95

    if off is not None:
        return abs(off.value) / COVERAGE_95
    return None if read.u is None else 0.0


def _stem(options: Options, exposed: str | None, temperature: str | None, liquid: str) -> Stem | None:
    """The emergent stem from its two options, which only make sense together."""
    from fractionkit.readings import Stem

    length = options.read("--exposed", exposed, "temperature_difference")
    warmth = options.read("--stem-temp", temperature, "temperature")
    if exposed is not None and temperature is None:
        options.refuse("--stem-temp", None, "the mean temperature of the column outside, beside --exposed")
    if temperature is not None and exposed is None:
        options.refuse("--exposed", None, "the degrees of column outside, beside --stem-temp")
    if length is None or warmth is None:
        return None
    return Stem(length.value, warmth.value, liquid)
