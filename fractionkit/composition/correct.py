"""From a run sheet to evidence: every reading corrected, with its errors named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Detection, Evidence
from fractionkit.composition.vessels import Vessels
from fractionkit.mixture import Mixture
from fractionkit.quantities import Quantity
from fractionkit.readings import Correction, Measured, Pressure, correct_pressure
from fractionkit.readings.checks import Place
from fractionkit.readings.density import Densities, correct_densities
from fractionkit.readings.density_inputs import Vessel
from fractionkit.readings.refractometer import correct_indices
from fractionkit.readings.thermometer import Stem, correct_temperatures
from fractionkit.sheets import Run

Array = NDArray[np.float64]

ROOM = 293.15  # K, where densities of pure liquids are compared


@dataclass(frozen=True)
class CorrectedRun:
    """Evidence of a run, the corrections made on the way, warnings, and by what ``means`` it speaks of composition."""

    evidence: Evidence
    corrections: tuple[Correction, ...]
    warnings: tuple[str, ...]
    means: tuple[str, ...]


def correct(run: Run, mixture: Mixture) -> CorrectedRun:
    """Correct all readings of a run.

    The residue and the charge follow the cuts as vessels of their own: the residue where it was weighed, the charge
    where it was weighed and something is known of what is in it.

    Raises
    ------
    InputError
        for readings that no bench can show, each fault with its row and column.
    """
    pressure = _pressure(run)
    vessels = Vessels.of(run)
    names = ("head_start", "head_end", "range_start", "range_end")
    heads = [vessels.extended(_temperature(run, getattr(run.cuts, name), name, pressure)) for name in names]
    start, end, first_drop, dry_point = heads
    densities = _density(run, vessels, mixture, pressure)
    index = vessels.extended(_index(run))
    stated, stated_u = vessels.stated(run)
    evidence = Evidence(
        names=vessels.names,
        pressure=pressure.value,
        pressure_u=pressure.u,
        head_start=start,
        head_end=end,
        range_start=first_drop,
        range_end=dry_point,
        density=densities.measured,
        density_temperature=densities.temperature,
        index=index,
        index_temperature=vessels.padded(run.cuts.refractive_temperature),
        detections=_detections(run),
        stated=stated,
        stated_u=stated_u,
        residue=vessels.residue is not None,
        charge=vessels.charge is not None,
        balance=vessels.balance(run),
        pot=vessels.pot(run),
    )
    kinds = {
        "head temperature": (start, end),
        "boiling range": (first_drop, dry_point),
        "density": (densities.measured,),
        "refractive index": (index,),
    }
    means = tuple(
        name for name, group in kinds.items() if any(np.isfinite(kind.value[: len(run.cuts)]).any() for kind in group)
    )
    taken = [kind for group in kinds.values() for kind in group if np.isfinite(kind.value).any()]
    corrections = dict.fromkeys([*pressure.corrections, *(step for kind in taken for step in kind.corrections)])
    warnings = dict.fromkeys([*pressure.warnings, *(text for kind in taken for text in kind.warnings)])
    return CorrectedRun(evidence, tuple(corrections), tuple(warnings), means)


def _detections(run: Run) -> tuple[Detection, ...]:
    return tuple(
        Detection(
            run.cuts.names.index(test.cut),
            run.components.index(test.component),
            test.result == "positive",
            test.detection_limit,
        )
        for test in run.tests
    )


def _file(run: Run) -> str:
    return str(run.table)


def _place(run: Run, column: str) -> Place:
    return Place(column, _file(run), [int(row) for row in run.cuts.row])


def _value(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.value


def _u(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.u


def _pressure(run: Run) -> Pressure:
    entry = run.pressure
    return correct_pressure(
        station=_value(entry.station),
        station_u=_u(entry.station),
        sea_level=_value(entry.sea_level),
        sea_level_u=_u(entry.sea_level),
        altitude=_value(entry.altitude),
        altitude_u=_u(entry.altitude),
    )


def _temperature(run: Run, reading: Array, column: str, pressure: Pressure) -> Measured:
    entry = run.thermometer
    stem = entry.stem
    return correct_temperatures(
        reading,
        bias=entry.bias,
        repeat=entry.repeat,
        correction=entry.correction,
        ice_point=_value(entry.ice_point),
        ice_point_u=_u(entry.ice_point),
        steam_point=_value(entry.steam_point),
        steam_point_u=_u(entry.steam_point),
        pressure=pressure.value,
        pressure_u=pressure.u,
        stem=None if stem is None else Stem(stem.exposed, stem.temperature, stem.liquid),
        place=_place(run, column),
    )


def _index(run: Run) -> Measured:
    cuts, entry = run.cuts, run.refractive_index
    return correct_indices(
        cuts.refractive_index,
        cuts.refractive_temperature,
        bias=entry.bias,
        repeat=entry.repeat,
        place=_place(run, "refractive_index"),
    )


def _density(run: Run, vessels: Vessels, mixture: Mixture, pressure: Pressure) -> Densities:
    entry = run.density
    middle = np.full(mixture.n, 1.0 / mixture.n)
    slope = float(mixture.density(middle, ROOM + 0.5) - mixture.density(middle, ROOM - 0.5))
    span, wanted = _question(run, mixture)
    vessel = None
    if entry.empty_mass is not None and entry.water_mass is not None and entry.water_temperature is not None:
        vessel = Vessel(entry.empty_mass, entry.water_mass, entry.water_temperature)
    return correct_densities(
        vessels.densities(run),
        method=entry.method,
        bias=entry.bias,
        repeat=entry.repeat,
        weighed=vessel,
        calibration_temperature=entry.calibration_temperature,
        thermometer_bias=entry.thermometer_bias,
        thermometer_repeat=entry.thermometer_repeat,
        slope=slope,
        pressure=pressure.value,
        span=span,
        wanted=wanted,
        file=_file(run),
        rows=[*(int(row) for row in run.cuts.row), *([0] * vessels.extra)],
    )


def _question(run: Run, mixture: Mixture) -> tuple[float | None, float | None]:
    """What density is asked to tell apart: the target from its nearest neighbour in density, to 1 - purity."""
    if run.target is None:
        return None, None
    pure = mixture.density(np.eye(mixture.n), ROOM)
    i = run.components.index(run.target.component)
    return float(np.abs(np.delete(pure, i) - pure[i]).min()), 1.0 - run.target.purity
