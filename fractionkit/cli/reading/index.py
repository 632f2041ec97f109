"""`fractionkit reading refractive-index`: a refractometer's reading moved to another temperature, and compared."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs

if TYPE_CHECKING:
    from fractionkit.substances import Substance

NAMES = {
    "refractive_index": "READING",
    "refractive_temperature": "--temp",
    "refractive_index.instrument": "--instrument",
    "": "--substance",
}


def command(
    reading: Annotated[str, typer.Argument(metavar="READING", help='Refractive index read, "1.4448 ± 0.0003".')],
    temp: Annotated[str, typer.Option("--temp", help='Temperature of the prism, "22 °C".')],
    to: Annotated[str, typer.Option("--to", help="Temperature to bring it to.")] = "20 °C",
    substance: Annotated[
        str | None, typer.Option("--substance", help="What it mainly is: for the slope and to compare.")
    ] = None,
    instrument: Annotated[
        str | None, typer.Option("--instrument", help="abbe, digital or handheld: uncertainties when none are written.")
    ] = None,
    json: JsonOption = None,
) -> None:
    """Refractive index at a temperature.

    Moved along the slope of the substance and compared with it.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.cli.reading.result import Result, budget, combined, tell, typed
    from fractionkit.readings import Correction, correct_indices, index_at
    from fractionkit.substances import get

    options = Options()
    read = options.read("READING", reading, "refractive_index")
    warmth, wanted = options.read("--temp", temp, "temperature"), options.read("--to", to, "temperature")
    options.check()
    assert read is not None  # what is required and could not be read has been refused
    assert warmth is not None
    assert wanted is not None
    with options_for(NAMES):
        pure = None if substance is None else get(substance)
        slope, u_slope, source = _slope(pure)
        found = correct_indices(
            [read.value],
            [warmth.value],
            bias=None if read.u is None else 0.0,  # a ± typed at the prompt is all that the reading may be off
            repeat=read.u,
            instrument=instrument,
            slope=slope,
        )
    start, u_start = combined(found)
    name = None if pure is None else pure.name
    value = float(index_at(start, warmth.value, wanted.value, slope))
    u_step = abs(u_slope * (wanted.value - warmth.value))
    step = Correction(f"from {temp} to {to}", value - start, u_step, "", source)
    pure_text, warnings = _comparison(pure, wanted.value, value, math.hypot(u_start, u_step))
    result = Result(
        "refractive-index", f"refractive index at {to}", "refractive_index", "", value, math.hypot(u_start, u_step),
        typed(("refractometer", reading), ("temperature of the prism", temp), ("substance", name)),
        corrections=(step,),
        warnings=warnings,
        errors=budget(found, "refractive_index", ""),
        also=pure_text,
    )  # fmt: skip
    tell(result, json)


def _slope(pure: Substance | None) -> tuple[float, float, str]:
    """dn/dT [1/K], its standard uncertainty and source: of the substance, else what such liquids have."""
    from fractionkit.readings.refractometer import TYPICAL_SLOPE, TYPICAL_SLOPE_U

    if pure is None or pure.refractive_index is None:
        return TYPICAL_SLOPE, TYPICAL_SLOPE_U, "slope of such solvents (common practice, no source)"
    fit = pure.refractive_index
    # The catalogue takes a tenth of the slope as its uncertainty.
    return fit.slope, abs(0.1 * fit.slope), f"{fit.source} ({fit.status})"


def _comparison(
    pure: Substance | None, temperature: float, value: float, u: float
) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Index of the pure substance, and a sentence when the reading cannot be it."""
    from fractionkit.quantities import COVERAGE_95, format_with_half_width

    if pure is None:
        return (), ()
    if pure.refractive_index is None:
        return (), (f"The catalogue has no refractive index of {pure.name}; the slope is that of such solvents.",)
    expected, u_expected = float(pure.refractive_index.at(temperature)), float(pure.refractive_index.u_at(temperature))
    rows = ((f"pure {pure.name} there", format_with_half_width(expected, u_expected, "refractive_index", "")),)
    difference, room = value - expected, COVERAGE_95 * math.hypot(u, u_expected)
    if abs(difference) <= room:
        return rows, ()
    side = "above" if difference > 0 else "below"
    told = f"The index is {abs(difference):.4f} {side} pure {pure.name}, more than the ± {room:.4f} of both"
    return rows, (f"{told}: it is not pure.",)
