"""Reading a run: run.toml and the cuts beside it, every fault of both told at once."""

from __future__ import annotations

import datetime
from pathlib import Path

from fractionkit.errors import Fault, InputError
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.model import CutTable, Run
from fractionkit.sheets.source import read_text

RUN_FILE = "run.toml"
CUTS_FILE = "cuts.csv"


def load_run(path: str | Path) -> Run:
    """Read a run from its folder or its run.toml.

    Parameters
    ----------
    path : a folder that holds run.toml, or that file under any name.

    Raises
    ------
    InputError
        With every fault of run.toml and of the table of cuts, each with file, row, column, value and what is expected.
    """
    source = _run_file(Path(path))
    faults = Faults(str(source))
    text = read_text(source, faults)
    if text is None:
        raise InputError(faults.all())
    run, listed = _read(source, text, faults)
    if listed:
        raise InputError(listed)
    return run


def _run_file(path: Path) -> Path:
    try:
        folder = path.is_dir()
        inside = path / RUN_FILE
        if folder and not inside.exists():
            expected = f"a folder with a {RUN_FILE} in it; `fractionkit demo DIR` writes one to start from"
            raise InputError(Fault(None, expected, str(path)))
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(Fault(str(path), f"a run's folder or its {RUN_FILE}")) from error
    return inside if folder else path


def _read(source: Path, text: str, faults: Faults) -> tuple[Run, list[Fault]]:
    """Everything that can be read, and all faults of both files in order."""
    # Imported here: pydantic is not needed by those who only read the model of a run.
    from fractionkit.sheets import entries
    from fractionkit.sheets.runfile import RunSheet
    from fractionkit.sheets.sections import RunSection

    sheet = RunSheet(text, faults)
    head = sheet.section("run", RunSection) if sheet.readable else RunSection()
    cuts, cuts_faults = _cuts(source, head.cuts, sheet)
    names = entries.Names(sheet, head.components, _canonical)
    if not sheet.readable:
        empty = cuts or _no_cuts()
        return Run(source.parent, source, "", None, (), entries.NO_PRESSURE, empty), faults.all() + cuts_faults.all()
    if not sheet.given("run", "components"):
        sheet.fault('components = ["…", "…"], the substances in the charge', "run", "components")
    density = entries.density(sheet)
    if cuts is not None:
        _check_vessel(cuts, density, sheet, cuts_faults)
    run = Run(
        folder=source.parent,
        source=source,
        title=head.title or source.resolve().parent.name,
        date=head.date,
        components=tuple(names.components),
        pressure=entries.pressure(sheet),
        thermometer=entries.thermometer(sheet),
        density=density,
        refractive_index=entries.refractive_index(sheet),
        charge=entries.charge(sheet, "charge", names),
        residue=entries.charge(sheet, "residue", names),
        holdup=entries.holdup(sheet),
        target=entries.target(sheet, names),
        tests=entries.tests(sheet, names, None if cuts is None else cuts.names),
        cuts=cuts or _no_cuts(),
    )
    return run, faults.all() + cuts_faults.all()


def _canonical(name: str) -> str:
    # Imported here: the catalogue of substances is read only when a name is looked up.
    from fractionkit.substances import get

    return get(name).name
