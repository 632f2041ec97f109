"""Reading a run: run.toml and the cuts beside it, every fault of both told at once."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fractionkit.errors import Fault, InputError
from fractionkit.sheets.cuts import PLATEAU_FALL, check_vessel, read_cuts
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.model import CutTable, Run
from fractionkit.sheets.source import read_text

if TYPE_CHECKING:
    from fractionkit.sheets.runfile import RunSheet
    from fractionkit.sheets.sections import RunSection

RUN_FILE = "run.toml"


def load_run(path: str | Path) -> Run:
    """Read a run from its folder or its run.toml.

    Parameters
    ----------
    path
        A folder that holds run.toml, or that file under any name.

    Raises
    ------
    InputError
        With every fault of run.toml and of the table of cuts, each with file, row, column, value and what is expected.

    """
    # Imported here: pydantic is not needed by those who only read the model of a run.
    from fractionkit.sheets.runfile import RunSheet
    from fractionkit.sheets.sections import RunSection

    source = _run_file(Path(path))
    faults = Faults(str(source))
    text = read_text(source, faults)
    if text is None:
        raise InputError(faults.all())
    sheet = RunSheet(text, faults)
    head = sheet.section("run", RunSection)
    cuts, cuts_faults = _cuts(source.parent / head.cuts, sheet, head)
    run = _assemble(source, sheet, head, cuts, cuts_faults) if sheet.readable else None
    listed = faults.all() + cuts_faults.all()
    if listed or run is None:
        raise InputError(listed)
    return run


def _run_file(path: Path) -> Path:
    try:
        if not path.is_dir():
            if path.suffix.lower() == ".csv":
                raise InputError(
                    Fault(None, f"the folder of a run or its {RUN_FILE}; this is a table of cuts", str(path))
                )
            return path
        inside = path / RUN_FILE
        there = inside.exists()
    except OSError as error:
        raise InputError(Fault(str(path), f"a folder or file that can be read ({error.strerror})")) from error
    if not there:
        expected = f"a folder with a {RUN_FILE} in it; `fractionkit demo DIR` writes one to start from"
        raise InputError(Fault(None, expected, str(path)))
    return inside


def _cuts(path: Path, sheet: RunSheet, head: RunSection) -> tuple[CutTable | None, Faults]:
    """The table of cuts; read even where run.toml is no TOML, so that its faults are told in the same go."""
    faults = Faults(str(path))
    if not sheet.readable and not os.path.exists(path):
        return None, faults
    text = read_text(path, faults)
    may_fall = math.inf if head.order == "any" else PLATEAU_FALL
    return (None if text is None else read_cuts(text, faults, may_fall=may_fall)), faults


def _assemble(
    source: Path, sheet: RunSheet, head: RunSection, cuts: CutTable | None, cuts_faults: Faults
) -> Run | None:
    """The run; None where there is no table of cuts. All checks of run.toml are made in either case."""
    from fractionkit.sheets import entries

    if not sheet.given("run", "components"):
        expected = 'the substances in the charge, like components = ["trichloroethylene", "tetrachloroethylene"]'
        sheet.fault(expected, "run", "components")
    names = entries.Names(sheet, head.components)
    density = entries.density(sheet)
    vessel_used = cuts is None or bool(cuts_faults) or bool(np.isfinite(cuts.filled_mass).any())
    if density.water_mass is not None and not vessel_used:
        expected = "filled masses too: a column filled_mass in the table of cuts, or no vessel here"
        sheet.fault(expected, "density", "water_mass", value=sheet.typed("density", "water_mass"))
    if cuts is not None:
        check_vessel(cuts, density, cuts_faults)
    pressure = entries.pressure(sheet)
    thermometer = entries.thermometer(sheet)
    index = entries.refractive_index(sheet)
    charge, residue = entries.charge(sheet, "charge", names), entries.charge(sheet, "residue", names)
    holdup, column = entries.holdup(sheet), entries.column(sheet)
    target = entries.target(sheet, names)
    known = None if cuts is None or cuts_faults.cut_short else cuts.names
    tests, results = entries.tests(sheet, names, known), entries.results(sheet, names, known)
    if cuts is None:
        return None
    return Run(
        folder=source.parent,
        source=source,
        table=source.parent / head.cuts,
        title=head.title or source.resolve().parent.name,
        date=head.date,
        components=tuple(names.components),
        pressure=pressure,
        cuts=cuts,
        thermometer=thermometer,
        density=density,
        refractive_index=index,
        charge=charge,
        residue=residue,
        holdup=holdup,
        target=target,
        tests=tests,
        results=results,
        ordered=head.order == "light to heavy",
        still=column,
    )
