"""A run as it was written down, in SI: what `load_run` gives and the other rooms read. Nothing here computes.

Inside, `u` is a standard uncertainty. What the sheet calls ``bias`` and ``repeat`` (95 % half-widths) is
stored here as standard uncertainties already.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity

Array = NDArray[np.float64]

DensityMethod = Literal["meter", "pycnometer", "flask", "hydrometer", "syringe"]
StemLiquid = Literal["mercury", "alcohol"]
TestResult = Literal["positive", "negative"]


@dataclass(frozen=True)
class PressureEntry:
    """The pressure at the still: ``station``, or ``sea_level`` together with ``altitude``; never both.

    station, sea_level : Pa; altitude : m.
    """

    station: Quantity | None = None
    sea_level: Quantity | None = None
    altitude: Quantity | None = None


@dataclass(frozen=True)
class StemEntry:
    """The emergent stem of the head thermometer.

    exposed : degrees (K) of the scale that stand out of the vapour.
    temperature : mean temperature of that part of the stem, K.
    """

    exposed: float
    temperature: float
    liquid: StemLiquid = "mercury"


@dataclass(frozen=True)
class ThermometerEntry:
    """The head thermometer. ``bias`` and ``repeat`` are standard uncertainties in K, None where not given.

    correction : K to add to every reading, 0 where not given.
    ice_point, steam_point : what the thermometer showed in melting ice and in steam, K.
    """

    bias: float | None = None
    repeat: float | None = None
    correction: float = 0.0
    ice_point: Quantity | None = None
    steam_point: Quantity | None = None
    stem: StemEntry | None = None


@dataclass(frozen=True)
class DensityEntry:
    """How densities were measured. Uncertainties are standard uncertainties, None where not given.

    bias, repeat : kg/m3.
    method : the kind of instrument; None where not said.
    empty_mass, water_mass : kg, the vessel weighed empty and full of water; water_temperature : K.
    thermometer_bias, thermometer_repeat : K, of the thermometer that gave the density's temperature.
    calibration_temperature : K at which the scale of a hydrometer, or the mark of a flask, holds.
    """

    bias: float | None = None
    repeat: float | None = None
    method: DensityMethod | None = None
    empty_mass: float | None = None
    water_mass: float | None = None
    water_temperature: float | None = None
    thermometer_bias: float | None = None
    thermometer_repeat: float | None = None
    calibration_temperature: float | None = None


@dataclass(frozen=True)
class IndexEntry:
    """The refractometer: standard uncertainties of the index (dimensionless), None where not given."""

    bias: float | None = None
    repeat: float | None = None


@dataclass(frozen=True)
class ChargeEntry:
    """The charge, or the residue.

    mass : kg; volume : m3; density : kg/m3, or of kind "specific_gravity" with its basis.
    density_temperature : K.
    composition : canonical component name -> mass fraction, with the uncertainty that was written.
    """

    mass: Quantity | None = None
    volume: Quantity | None = None
    density: Quantity | None = None
    density_temperature: float | None = None
    composition: Mapping[str, Quantity] = field(default_factory=dict)


@dataclass(frozen=True)
class ColumnEntry:
    """The still that was used: theoretical stages, the pot counted as one, and reflux ratio L/D; None where not given."""

    stages: Quantity | None = None
    reflux: Quantity | None = None


@dataclass(frozen=True)
class TargetEntry:
    """What is wanted: mass fraction ``purity`` of ``component``, held with probability ``confidence``."""

    component: str
    purity: float
    confidence: float = 0.95


@dataclass(frozen=True)
class TestEntry:
    """A qualitative test of one cut for one component; ``detection_limit`` is a mass fraction."""

    __test__: ClassVar[bool] = False  # the name is the trade's; it is no case for pytest

    cut: str
    component: str
    result: TestResult
    detection_limit: float


@dataclass(frozen=True)
class ResultEntry:
    """A mass fraction found elsewhere in one cut, a second laboratory's, with the uncertainty that was written."""

    cut: str
    component: str
    fraction: Quantity


@dataclass(frozen=True)
class CutTable:
    """The cuts in the order of the sheet: arrays (K,), SI, NaN where the sheet is blank.

    names, notes : texts, notes "" where blank.
    row : line number in the sheet, the header's line being 1 as an editor shows it.
    head_start, head_end : head temperature while the cut was collected, K, as read.
    mass : kg (never computed from volume); volume : m3.
    density : kg/m3 where ``density_kind`` is "density"; the specific gravity itself where it is "sg"; NaN
        where it is "". density_temperature : K of the sample when its density was read.
    sg_basis : (K, 2) temperatures of the sample and of the water in °C, NaN where no specific gravity.
    filled_mass : kg, the vessel weighed full of the cut, in place of a density.
    refractive_index, refractive_temperature [K], pot_temperature [K].
    range_start, range_end : first drop and dry point of a boiling-range test of the cut itself, K.
    """

    names: tuple[str, ...]
    notes: tuple[str, ...]
    row: NDArray[np.int64]
    head_start: Array
    head_end: Array
    mass: Array
    volume: Array
    density: Array
    density_kind: NDArray[np.str_]
    sg_basis: Array
    density_temperature: Array
    filled_mass: Array
    refractive_index: Array
    refractive_temperature: Array
    pot_temperature: Array
    range_start: Array
    range_end: Array

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True)
class Run:
    """One distillation as written in run.toml and cuts.csv.

    components : canonical catalogue names in sheet order. source : the run.toml read; folder : its folder; table : the
    file of the cuts. ordered : whether the components left light to heavy, as one charge distilled in one go does.
    holdup : kg left wetting the still. still : the column, where the sheet says something of it.
    """

    folder: Path
    source: Path
    table: Path
    title: str
    date: datetime.date | None
    components: tuple[str, ...]
    pressure: PressureEntry
    cuts: CutTable
    thermometer: ThermometerEntry = ThermometerEntry()
    density: DensityEntry = DensityEntry()
    refractive_index: IndexEntry = IndexEntry()
    charge: ChargeEntry | None = None
    residue: ChargeEntry | None = None
    holdup: Quantity | None = None
    target: TargetEntry | None = None
    tests: tuple[TestEntry, ...] = ()
    results: tuple[ResultEntry, ...] = ()
    ordered: bool = True
    still: ColumnEntry | None = None
