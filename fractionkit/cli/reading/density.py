"""`fractionkit reading density`: a density typed or by weight, at another temperature, beside a pure substance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs

if TYPE_CHECKING:
    from fractionkit.cli.options import Options
    from fractionkit.quantities import Quantity
    from fractionkit.readings import Densities, DensityReadings, Vessel

NAMES = {
    "density": "READING",
    "density_temp": "--temp",
    "filled_mass": "--filled",
    "density.empty_mass": "--empty",
    "density.water_mass": "--water",
    "density.water_temp": "--water-temp",
    "density.method": "--method",
    "air pressure": "--pressure",
    "": "--substance",
}
GLASSES = ("borosilicate", "soda-lime")


def command(
    reading: Annotated[
        str | None, typer.Argument(metavar="READING", help='"1.482 g/mL" or "1.482 sg20/20"; none: by weight.')
    ] = None,
    temp: Annotated[str | None, typer.Option("--temp", help='Temperature of the sample, "22 °C".')] = None,
    to: Annotated[str, typer.Option("--to", "--at", help="Temperature to bring it to.")] = "20 °C",
    substance: Annotated[
        str | None, typer.Option("--substance", help="What it mainly is: for the slope and to compare.")
    ] = None,
    method: Annotated[
        str | None, typer.Option("--method", help="meter, pycnometer, flask, hydrometer or syringe.")
    ] = None,
    scale_temp: Annotated[
        str | None, typer.Option("--scale-temp", help="Temperature for which a hydrometer or flask is marked.")
    ] = None,
    empty: Annotated[str | None, typer.Option("--empty", help='Vessel weighed empty, "23.4512 g".')] = None,
    water: Annotated[str | None, typer.Option("--water", help="The same full of water.")] = None,
    water_temp: Annotated[str | None, typer.Option("--water-temp", help="Temperature of that water.")] = None,
    filled: Annotated[str | None, typer.Option("--filled", help="The same full of the sample.")] = None,
    glass: Annotated[str, typer.Option("--glass", help="borosilicate or soda-lime.")] = "borosilicate",
    pressure: Annotated[str | None, typer.Option("--pressure", help="Pressure at the balance.")] = None,
    json: JsonOption = None,
) -> None:
    """Density at a temperature.

    From a density, a specific gravity, or a vessel weighed empty, with water and with the sample.
    """
    check_outputs(json)
    from fractionkit.cli.options import Options, options_for
    from fractionkit.cli.reading.moving import comparison, density_slope, method_warning, move, volume_row
    from fractionkit.cli.reading.result import Result, budget, tell, typed
    from fractionkit.substances import get

    options = Options()
    wanted = options.read("--to", to, "temperature")
    entries = _Entries.read(options, reading, temp, scale_temp, pressure)
    weighed = _weighings(options, reading, (empty, water, water_temp, filled), glass, entries)
    options.check()
    assert wanted is not None  # it could be read, or has been refused
    with options_for(NAMES):
        pure = None if substance is None else get(substance)
        slope, u_slope, source = density_slope(pure, entries.sample_temperature(), wanted.value)
        found = _correct(entries, weighed, method, slope)
    moved = move(found, wanted.value, to, slope, u_slope, source)
    pure_row, warnings = comparison(pure, wanted.value, moved.value, moved.u)
    result = Result(
        "density", f"density at {to}", "density", "g/mL", moved.value, moved.u,
        typed(
            ("density", reading), ("vessel empty", empty), ("vessel with water", water),
            ("temperature of the water", water_temp), ("vessel with the sample", filled),
            ("temperature of the sample", temp), ("scale marked for", scale_temp), ("pressure", pressure),
            ("method", method), ("substance", pure.name if pure else None),
        ),
        corrections=(*found.measured.corrections, *moved.steps),
        warnings=(*found.measured.warnings, *method_warning(entries.density, method), *warnings),
        errors=budget(found.measured, "density_difference", "g/mL"),
        also=(*volume_row(None if weighed is None else weighed.vessel), *pure_row),
    )  # fmt: skip
    tell(result, json)


@dataclass(frozen=True)
class _Entries:
    """What was typed beside the weighings."""

    density: Quantity | None
    temp: Quantity | None
    scale: Quantity | None
    pressure: Quantity | None

    @classmethod
    def read(
        cls, options: Options, reading: str | None, temp: str | None, scale: str | None, pressure: str | None
    ) -> _Entries:
        return cls(
            options.read("READING", reading, "density"),
            options.read("--temp", temp, "temperature"),
            options.read("--scale-temp", scale, "temperature"),
            options.read("--pressure", pressure, "pressure"),
        )

    def sample_temperature(self) -> float:
        """Kelvin at which the density holds: the temperature typed, else the basis' own, else not known."""
        if self.temp is not None:
            return self.temp.value
        basis = None if self.density is None else self.density.basis
        return float("nan") if basis is None else basis[0] + 273.15


@dataclass(frozen=True)
class _Weighed:
    """A vessel and what it weighs full of the sample, kg."""

    vessel: Vessel
    filled: float


def _weighings(
    options: Options, reading: str | None, texts: tuple[str | None, ...], glass: str, entries: _Entries
) -> _Weighed | None:
    """The four figures of a weighed vessel, all or none; faults are noted in ``options``."""
    from fractionkit.readings import Vessel
    from fractionkit.readings.vessel import BOROSILICATE, SODA_LIME

    names = ("--empty", "--water", "--water-temp", "--filled")
    kinds = ("mass", "mass", "temperature", "mass")
    read = [options.read(name, text, kind) for name, text, kind in zip(names, texts, kinds, strict=True)]
    given = [name for name, text in zip(names, texts, strict=True) if text is not None]
    if glass not in GLASSES:
        options.refuse("--glass", glass, " or ".join(GLASSES))
    if reading is None and not given:
        options.refuse("READING", None, 'a density such as "1.482 g/mL", or the weighings ' + ", ".join(names))
    if reading is not None and given:
        options.refuse("READING", reading, f"either a density or weighings ({', '.join(given)}), not both")
    if given:
        for name in names:
            if name not in given:
                options.refuse(name, None, f"this figure beside {', '.join(given)}")
        if entries.temp is None:
            options.refuse("--temp", None, "the temperature of the sample in the vessel")
    empty, water, warmth, filled = read
    if empty is None or water is None or warmth is None or filled is None:
        return None
    # The balance is as good as what was typed: its ±, else the coarsest last digit ("48.4 g" is a balance of 0.1 g).
    balance = max(mass.u or mass.last_digit or 0.0 for mass in (empty, water, filled))
    expansion = BOROSILICATE if glass == "borosilicate" else SODA_LIME
    return _Weighed(Vessel(empty.value, water.value, warmth.value, expansion, balance), filled.value)


def _correct(entries: _Entries, weighed: _Weighed | None, method: str | None, slope: float) -> Densities:
    """The readings room's correction of the one reading."""
    from fractionkit.readings import correct_densities
    from fractionkit.readings.atmosphere import STANDARD_PRESSURE

    density, water_density = entries.density, 998.2  # the size of kg/m3 in one unit of specific gravity, for the ± only
    u = None if density is None or density.u is None else density.u * (water_density if density.basis else 1.0)
    return correct_densities(
        _readings(entries, weighed),
        method=method or ("pycnometer" if weighed else None),
        bias=None if u is None else 0.0,  # a ± typed at the prompt is all that the reading may be off
        repeat=u,
        weighed=None if weighed is None else weighed.vessel,
        calibration_temperature=None if entries.scale is None else entries.scale.value,
        slope=slope,
        pressure=STANDARD_PRESSURE if entries.pressure is None else entries.pressure.value,
    )


def _readings(entries: _Entries, weighed: _Weighed | None) -> DensityReadings:
    from fractionkit.readings import DensityReadings

    temperature = float("nan") if entries.temp is None else entries.temp.value
    if weighed is not None:
        return DensityReadings.of(float("nan"), temperature, filled_mass=weighed.filled)
    assert entries.density is not None  # one of the two was given, or the options have been refused
    basis = entries.density.basis
    return DensityReadings.of(
        entries.density.value, temperature, is_gravity=basis is not None, basis=basis or (float("nan"), float("nan"))
    )
