"""`fractionkit reading boiling-point`: what a pure substance boils at on the day; a reading brought to 101.325 kPa."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs

if TYPE_CHECKING:
    from fractionkit.readings import Correction
    from fractionkit.substances import Substance


def command(
    substance: Annotated[str, typer.Option("--substance", help="Name, usual synonym or CAS number.")],
    pressure: Annotated[str, typer.Option("--pressure", help='Pressure at the still, "98.6 ± 0.4 kPa".')],
    reading: Annotated[
        str | None,
        typer.Argument(metavar="READING", help='Boiling point read, "60.4 ± 0.5 °C"; none: what is expected.'),
    ] = None,
    json: JsonOption = None,
) -> None:
    """Boiling point here and at 101.325 kPa.

    What a pure substance boils at today; a boiling point read is brought to 101.325 kPa and compared.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.cli.reading.result import Result, decimals_typed, tell, to_uncertainty, typed
    from fractionkit.substances import get

    options = Options()
    found, read = options.read("--pressure", pressure, "pressure"), options.read("READING", reading, "temperature")
    options.check()
    with options_for({"": "--substance"}):
        pure = get(substance)
    assert found is not None  # a required option that could not be read has been refused
    expected, u_expected = _boiling(pure, found.value, found.u or 0.0)
    step, u_step = _to_normal(pure, found.value, found.u or 0.0)
    shown = typed(("substance", pure.name), ("pressure", pressure), ("boiling point read", reading))
    finest = max(decimals_typed(reading or ""), 1)  # no thermometer at a still shows more than it was read to
    here = to_uncertainty(expected, u_expected, "temperature", "°C", finest)
    if read is None:
        result = Result(
            "boiling-point", f"{pure.name} boils here at", "temperature", "°C", expected, u_expected, shown,
            warnings=_pressure_warning(found.u),
            source=f"{pure.vapour_pressure.source} ({pure.vapour_pressure.status})",
            finest=finest,
        )  # fmt: skip
    else:
        u = None if read.u is None else math.hypot(read.u, u_step)
        result = Result(
            "boiling-point", "boiling point at 101.325 kPa", "temperature", "°C", read.value + step.change, u, shown,
            corrections=(step,),
            warnings=_pressure_warning(found.u) + _comparison(pure, read.value - expected, read.u, u_expected),
            decimals=decimals_typed(reading or ""),
            finest=finest,
            also=((f"pure {pure.name} boils here at", here),),
        )  # fmt: skip
    tell(result, json)


def _boiling(pure: Substance, pressure: float, u_pressure: float) -> tuple[float, float]:
    """Boiling temperature [K] and its standard uncertainty, from the vapour pressure and from the pressure's own."""
    temperature = float(pure.vapour_pressure.boiling_temperature(pressure))
    slope = float(pure.vapour_pressure.dln_pressure_dT(temperature))
    u_ln = float(pure.vapour_pressure.u_at(temperature))
    return temperature, math.hypot(u_ln, u_pressure / pressure) / slope


def _to_normal(pure: Substance, pressure: float, u_pressure: float) -> tuple[Correction, float]:
    """The step to 101.325 kPa: what the vapour pressure curve of the substance rises by."""
    from fractionkit.readings import Correction
    from fractionkit.substances.model import NORMAL_PRESSURE

    curve = pure.vapour_pressure
    here = float(curve.boiling_temperature(pressure))
    change = float(curve.boiling_temperature(NORMAL_PRESSURE)) - here
    u = u_pressure / pressure / float(curve.dln_pressure_dT(here))
    return Correction(f"to 101.325 kPa along {pure.name}", change, u, "K", f"{curve.source} ({curve.status})"), u


def _pressure_warning(u: float | None) -> tuple[str, ...]:
    return () if u is not None else ("The pressure has no ±; the result does not carry its uncertainty.",)


def _comparison(pure: Substance, difference: float, u_read: float | None, u_expected: float) -> tuple[str, ...]:
    """Sentence on a reading that the pure substance cannot give."""
    from fractionkit.quantities import COVERAGE_95

    room = COVERAGE_95 * math.hypot(u_read or 0.0, u_expected)
    if abs(difference) <= room:
        return ()
    side = "above" if difference > 0 else "below"
    return (
        f"The reading is {abs(difference):.1f} K {side} pure {pure.name} here, more than the ± {room:.1f} K of reading "
        "and constants: it is not pure, or the thermometer or the pressure is off.",
    )
