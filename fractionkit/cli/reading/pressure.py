"""`fractionkit reading pressure`: pressure at the still from a barometer, or from a weather report and the altitude."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity

NAMES = {
    "pressure": "STATION or --sea-level with --altitude",
    "pressure.station": "STATION",
    "pressure.sea_level": "--sea-level",
    "pressure.altitude": "--altitude",
    "altitude": "--altitude",
    "barometer temperature": "--mercury",
}


def command(
    station: Annotated[
        str | None, typer.Argument(metavar="STATION", help='Pressure read at the bench, "98.6 ± 0.4 kPa".')
    ] = None,
    sea_level: Annotated[
        str | None,
        typer.Option("--sea-level", help='Pressure at sea level, as weather reports give it, "1019 hPa".'),
    ] = None,
    altitude: Annotated[str | None, typer.Option("--altitude", help='Altitude of the bench, "640 m".')] = None,
    mercury: Annotated[
        str | None, typer.Option("--mercury", help='Temperature of a mercury barometer with brass scale, "22 °C".')
    ] = None,
    json: JsonOption = None,
) -> None:
    """Pressure at the still.

    From a barometer there, or from a weather report and the altitude.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.cli.reading.result import Result, tell, typed, u_of, value_of
    from fractionkit.quantities import format_with_half_width
    from fractionkit.readings import Correction, correct_pressure, mercury_barometer, steam_temperature
    from fractionkit.readings.pressure import MERCURY_SOURCE
    from fractionkit.readings.water import steam_slope

    options = Options()
    read, reported = options.read("STATION", station, "pressure"), options.read("--sea-level", sea_level, "pressure")
    height, warmth = options.read("--altitude", altitude, "length"), options.read("--mercury", mercury, "temperature")
    if mercury is not None and station is None:
        options.refuse("--mercury", mercury, "a reading of the barometer beside it, STATION")
    options.check()
    steps: tuple[Correction, ...] = ()
    at_bench = value_of(read)
    if read is not None and warmth is not None:
        at_bench = float(mercury_barometer(read.value, warmth.value))
        steps = (Correction("mercury and brass brought to 0 °C", at_bench - read.value, 0.0, "Pa", MERCURY_SOURCE),)
    with options_for(NAMES):
        found = correct_pressure(
            station=at_bench,
            station_u=u_of(read),
            sea_level=value_of(reported),
            sea_level_u=u_of(reported),
            altitude=value_of(height),
            altitude_u=u_of(height),
        )
    boiling, slope = float(steam_temperature(found.value)), float(steam_slope(found.value))
    result = Result(
        reading="pressure",
        quantity="pressure at the still",
        kind="pressure",
        unit="kPa",
        value=found.value,
        u=found.u,
        shown=typed(
            ("barometer at the bench", station),
            ("pressure at sea level", sea_level),
            ("altitude", altitude),
            ("temperature of the barometer", mercury),
        ),
        corrections=(*steps, *found.corrections),
        warnings=(*found.warnings, *_untold(read, reported)),
        also=(("water boils there at", format_with_half_width(boiling, slope * found.u, "temperature", "°C")),),
    )
    tell(result, json)


def _untold(station: Quantity | None, sea_level: Quantity | None) -> tuple[str, ...]:
    """Say that an uncertainty was taken because none was written."""
    if station is not None and station.u is None:
        return ("No ± was written: that of a barometer not compared lately is taken. Write it, like 98.6 ± 0.2 kPa.",)
    if sea_level is not None and sea_level.u is None:
        return ("No ± was written: that of a weather report of the hour is taken. Write it, like 1019 ± 2 hPa.",)
    return ()
