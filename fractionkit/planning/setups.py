"""The set-ups of a plan: those of the sheet, or the built-in table of usual laboratory columns."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from fractionkit.errors import Fault, InputError
from fractionkit.quantities import Quantity, parse
from fractionkit.sheets.faults import nearest
from fractionkit.sheets.still_model import SetupEntry, StillSheet

USUAL_REFLUX = (1.0, 3.0, 5.0)
"""Ratios compared for a column of one's own when the sheet names none; common practice, no source."""

FALSE_HOLDUP = Quantity(0.0, None, "volume", "0 mL")


@dataclass(frozen=True)
class SetUp:
    """One set-up: a column over the pot, run at one or more reflux ratios.

    stages : theoretical stages, the pot counted as one; holdup : m3 in column and head; throughput : m3/s of boiling
    liquid that the column carries, None where unknown; each with its standard uncertainty ``_u``.
    reflux : ratios L/D to compare. source : where the figures come from. row : line in the sheet of the hold-up, None
    for a built-in column. built_in : whether the hold-up is the table's.
    """

    name: str
    stages: float
    stages_u: float
    holdup: float
    holdup_u: float
    throughput: float | None
    throughput_u: float
    reflux: tuple[float, ...]
    source: str
    row: int | None = None
    built_in: bool = False


@lru_cache(maxsize=1)
def built_in() -> dict[str, SetUp]:
    """The built-in table, key -> set-up, in the order of the file."""
    text = (files("fractionkit.planning") / "data" / "columns.toml").read_text(encoding="utf-8")
    return {key: _row(row) for key, row in tomllib.loads(text).items()}


def _row(row: dict[str, object]) -> SetUp:
    stages = parse(str(row["stages"]), "number")
    holdup, throughput = parse(str(row["holdup"]), "volume"), parse(str(row["throughput"]), "flow")
    reflux = row["reflux"]
    assert isinstance(reflux, list)
    return SetUp(
        name=str(row["name"]),
        stages=stages.value,
        stages_u=stages.u or 0.0,
        holdup=holdup.value,
        holdup_u=holdup.u or 0.0,
        throughput=throughput.value,
        throughput_u=throughput.u or 0.0,
        reflux=tuple(float(ratio) for ratio in reflux),
        source=str(row["source"]),
        built_in=True,
    )


def setups_of(sheet: StillSheet) -> tuple[SetUp, ...]:
    """The set-ups to compare: those of the sheet, all built-in ones where it names none.

    Raises
    ------
    InputError
        for a column that the table lacks, two set-ups that would have one name, a run that cannot be read or tells nothing.
    """
    if not sheet.setups:
        return tuple(built_in().values())
    faults: list[Fault] = []
    found: dict[str, SetUp] = {}
    for place, entry in enumerate(sheet.setups, 1):
        base = _base(entry, str(sheet.source), faults) if entry.run is None else _fitted(entry.run)
        setup = _made(entry, base, place)
        if setup.name in found:
            expected = f"a name for each set-up; {setup.name!r} stands for two"
            faults.append(Fault(entry.name, expected, str(sheet.source), entry.rows.get(""), "[[setup]] name"))
        found[setup.name] = setup
    if faults:
        raise InputError(faults)
    return tuple(found.values())


def _base(entry: SetupEntry, source: str, faults: list[Fault]) -> SetUp | None:
    """The built-in column that an entry starts from; spaces, hyphens and capitals do not matter."""
    if entry.column is None:
        return None
    table = built_in()
    known = {_key(name): setup for key, setup in table.items() for name in (key, setup.name)}
    if (setup := known.get(_key(entry.column))) is not None:
        return setup
    names = [setup.name for setup in table.values()]
    expected = f"a built-in column: {', '.join(names)}{nearest(entry.column, names)}"
    faults.append(Fault(entry.column, expected, source, entry.rows.get("column"), "[[setup]] column"))
    return None


def _fitted(path: Path) -> SetUp:
    """The still of a run, as the run itself tells it."""
    from fractionkit.sheets import load_run
    from fractionkit.stages import fitted  # imported here: few plans ask for it

    run = load_run(path)
    still = fitted(run)
    return SetUp(
        name=f"still of {run.title}",
        stages=still.stages,
        stages_u=still.stages_u,
        holdup=still.holdup_volume,
        holdup_u=still.holdup_volume_u,
        throughput=None,
        throughput_u=0.0,
        reflux=USUAL_REFLUX,
        source=f"stages and hold-up from the run {run.title}",
        built_in=True,
    )


def _key(name: str) -> str:
    return "".join(sign for sign in name.lower() if sign.isalnum()).removesuffix("cm").removesuffix("plates")


def _made(entry: SetupEntry, base: SetUp | None, place: int) -> SetUp:
    stages = entry.stages or _quantity(base, "stages") or Quantity(1.0, None, "number", "1")
    holdup = entry.holdup or _quantity(base, "holdup") or FALSE_HOLDUP
    throughput = entry.throughput or _quantity(base, "throughput")
    own = [key for key in ("stages", "holdup", "throughput") if getattr(entry, key) is not None]
    source = "the sheet" if base is None else base.source + (f"; {', '.join(own)}: the sheet" if own else "")
    usual = (0.0,) if stages.value <= 1.0 else USUAL_REFLUX
    return SetUp(
        name=entry.name or (base.name if base else f"set-up {place}"),
        stages=stages.value,
        stages_u=stages.u or 0.0,
        holdup=holdup.value,
        holdup_u=holdup.u or 0.0,
        throughput=None if throughput is None else throughput.value,
        throughput_u=0.0 if throughput is None else throughput.u or 0.0,
        reflux=entry.reflux or (base.reflux if base else usual),
        source=source,
        row=entry.rows.get("holdup") or entry.rows.get(""),
        built_in=entry.holdup is None,
    )


def _quantity(base: SetUp | None, name: str) -> Quantity | None:
    if base is None or getattr(base, name) is None:
        return None
    return Quantity(getattr(base, name), getattr(base, f"{name}_u") or None, name, "")
