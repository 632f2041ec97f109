"""What lots are made of: the cuts of assessed runs and bottles of the stock, with what is known of how they were measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fractionkit.assessment import Assessment, assess
from fractionkit.errors import AtOddsError, Fault, InputError
from fractionkit.lots import Material
from fractionkit.quantities import COVERAGE_95, Flag
from fractionkit.sheets import load_run
from fractionkit.sheets.lot_model import LotRun, LotSheet

SHELF = "shelf"
RECORD = "the record of the stock"
# instrument as the findings call it -> means as the label says it
_MEANS = {"thermometer": "head temperature", "density": "density", "refractometer": "refractive index"}


@dataclass(frozen=True)
class Sources:
    """Materials (M), with the run each comes from; None for a bottle. titles : (M,) of the run or the bottle."""

    materials: tuple[Material, ...]
    runs: tuple[Assessment | None, ...]
    titles: tuple[str, ...]
    flags: tuple[Flag, ...]
    taken: tuple[str, ...] = field(default=())  # names that the stock has given already

    def means(self, places: list[int]) -> str:
        """By what the composition of these materials was found: "head temperature and density"."""
        named: dict[str, None] = {}
        for place in places:
            run = self.runs[place]
            if run is None:
                named[RECORD] = None
                continue
            named |= dict.fromkeys(_MEANS[f.instrument] for f in run.findings if f.instrument in _MEANS)
        ordered = [means for means in (*_MEANS.values(), RECORD) if means in named]
        return " and ".join(ordered) or "the readings"

    def density_words(self, place: int, target: str) -> Callable[[float], str]:
        """For a mass fraction of the target (95 % half-width): how good a density tells it, "" where it tells nothing."""
        run = self.runs[place]
        curve = None if run is None else run.curve
        if run is None or curve is None or target not in (curve.component, curve.other):
            return lambda half: ""
        k = [cut.name for cut in run.cuts].index(self.materials[place].name)
        mean = float(run.draws[:, k, run.components.index(curve.component)].mean())
        slope = abs(float(np.interp(mean, curve.fraction, np.gradient(curve.density, curve.fraction))))
        now = COVERAGE_95 * float(run.readings.density_u[k])

        def words(half: float) -> str:
            needed = half * slope
            if needed < 0.05:  # kg/m3, below what any bench vessel or meter tells
                return ""
            present = f" (now ± {now / 1e3:.4f})" if np.isfinite(now) and now > needed else ""
            return f"; a density good to ± {needed / 1e3:.4f} g/mL{present} tells that"

        return words


def sources_of(sheet: LotSheet) -> Sources:
    """Assess the runs, fetch the bottles.

    Raises
    ------
    InputError
        with all faults: of each run's sheet, cuts that are not there or have no mass, bottles that are not in the stock.
    AtOddsError
        where the readings of a run are at odds.
    """
    faults: list[Fault] = []
    materials: list[Material] = []
    runs: list[Assessment | None] = []
    titles: list[str] = []
    flags: list[Flag] = []
    odd: list[str] = []
    for entry in sheet.runs:
        try:
            run = assess(load_run(entry.path))
            cuts = _cuts(run, entry, flags, faults)
        except InputError as error:
            faults += error.faults
            continue
        if run.at_odds:
            odd.append(f"{run.title} ({entry.path})")
        materials += cuts
        runs += [run] * len(cuts)
        titles += [run.title] * len(cuts)
    taken: tuple[str, ...] = ()
    try:
        if sheet.bottles:
            bottles, names, said, taken = _bottles(sheet.stock, sheet.bottles)
            materials += bottles
            runs += [None] * len(bottles)
            titles += names
            flags += said
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(faults)
    if odd:
        raise AtOddsError(
            f"no lot can be made: the readings of {' and of '.join(odd)} are at odds, so that no honest answer stands on "
            "them; `fractionkit assess` says what may be behind it"
        )
    return Sources(tuple(materials), tuple(runs), tuple(titles), tuple(flags), taken)


def _cuts(run: Assessment, entry: LotRun, flags: list[Flag], faults: list[Fault]) -> list[Material]:
    names = [cut.name for cut in run.cuts]
    unknown = [name for name in entry.cuts or () if name not in names]
    for name in unknown:
        faults.append(Fault(name, f"a cut of {run.title}: {', '.join(names)}", str(entry.path), column="cut"))
    wanted = [name for name in names if entry.cuts is None or name in entry.cuts]
    weighed = [cut.name for cut in run.cuts if cut.mass is not None]
    missing = [name for name in wanted if name not in weighed]
    if missing:
        flags.append(Flag("no_mass", f"{', '.join(missing)} of {run.title}: mass unknown, so in no lot"))
    return [run.material(name) for name in wanted if name in weighed]


def _bottles(
    path: Path | None, names: tuple[str, ...]
) -> tuple[tuple[Material, ...], list[str], list[Flag], tuple[str, ...]]:
    from fractionkit.stock import open_stock  # here: lots of runs alone need no stock

    with open_stock(path, write=False) as stock:
        held = [stock.holding(name) for name in names]
        flags = [
            Flag("bottle", f"{bottle.name}: kept with {bottle.stabiliser}; it goes into the lot with it")
            for bottle in held
            if bottle.stabiliser
        ]
        materials = tuple(
            Material(m.name, m.components, m.mass, m.mass_u, m.draws, SHELF) for m in stock.materials(names)
        )
        return materials, [bottle.title or bottle.name for bottle in held], flags, stock.names
