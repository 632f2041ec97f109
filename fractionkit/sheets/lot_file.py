"""Reading the sheet of a lot: LOT.toml to a `LotSheet`, every fault told at once."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from fractionkit.errors import Fault, InputError
from fractionkit.sheets.faults import Faults, nearest
from fractionkit.sheets.load import RUN_FILE
from fractionkit.sheets.lot_model import (
    AddedStabiliser,
    AnotherPass,
    Economics,
    Effort,
    EnteredTest,
    LotRun,
    LotSheet,
    LotTarget,
)
from fractionkit.sheets.lot_tests import KINDS, read_result
from fractionkit.sheets.source import read_text

if TYPE_CHECKING:
    from fractionkit.sheets.lot_sections import EffortKeys, LotSheetReader

LOT_FILE = "LOT.toml"
MOST_RUNS, MOST_TARGETS = 200, 12


def lot_file(path: Path) -> Path | None:
    """The LOT.toml that ``path`` means: that file, or the one in that folder; None where it means a run.

    A file is a lot's where it has a line [lot] or [[target]].
    """
    if os.path.isdir(path):
        found = [entry for entry in path.iterdir() if entry.name.lower() == LOT_FILE.lower()]
        return found[0] if found else None
    if path.name.lower() == LOT_FILE.lower():
        return path
    text = read_text(path, Faults(str(path))) if os.path.isfile(path) else None
    lines = {line.split("#")[0].strip() for line in (text or "").splitlines()}
    return path if lines & {"[lot]", "[[target]]"} else None


def load_lot(path: str | Path) -> LotSheet:
    """Read the sheet of a lot from its folder or its LOT.toml.

    Raises
    ------
    InputError
        with every fault of the sheet; the runs it names are only looked for, not read.
    """
    from fractionkit.sheets.lot_sections import LotSheetReader  # here: pydantic, for those who only read the model

    source = Path(path)
    found = lot_file(source) if os.path.isdir(source) else source
    if found is None:
        raise InputError(Fault(None, f"a folder with a {LOT_FILE} in it", str(path)))
    faults = Faults(str(found))
    text = read_text(found, faults)
    if text is None:
        raise InputError(faults.all())
    sheet = LotSheetReader(text, faults)
    read = _assemble(found, sheet) if sheet.readable else None
    if faults or read is None:
        raise InputError(faults.all())
    return read


def _assemble(source: Path, sheet: LotSheetReader) -> LotSheet:
    from fractionkit.sheets.lot_sections import LotSection

    head = sheet.section("lot", LotSection)
    runs = _runs(source, sheet)
    if not runs and not head.bottles and not sheet.given("run"):
        expected = 'something to make a lot of: [[run]] with path = "../run-7", or bottles = ["B12"] under [lot]'
        sheet.fault(expected, "lot")
    targets = _targets(sheet)
    wanted = sheet.typed("target")  # a test may speak of a target that is itself at fault
    lots = len(wanted) if isinstance(wanted, list) else 0
    for key, name in (("stock", head.stock), ("grades", head.grades)):
        if name is not None and not os.path.exists(source.parent / name):
            sheet.fault("a file that exists, its path as seen from this sheet", "lot", key, value=name)
    if len(set(head.bottles)) < len(head.bottles):
        sheet.fault("each bottle once", "lot", "bottles", value=list(head.bottles))
    return LotSheet(
        str(source),
        head.title or source.resolve().parent.name,
        head.date,
        head.number,
        runs,
        tuple(head.bottles),
        targets,
        None if head.stock is None else source.parent / head.stock,
        None if head.grades is None else source.parent / head.grades,
        _tests(sheet, lots),
        _stabiliser(sheet, lots),
        _economics(sheet),
        _another_pass(sheet),
        tuple(head.storage),
    )


def _runs(source: Path, sheet: LotSheetReader) -> tuple[LotRun, ...]:
    from fractionkit.sheets.lot_sections import RunPart

    found: dict[Path, LotRun] = {}
    for index, entry in sheet.repeated("run", RunPart):
        if not sheet.given("run", index, "path"):
            sheet.fault('path as well, like path = "../run-7"', "run", index)
        if entry.path is None:
            continue
        path = Path(os.path.normpath(source.parent / entry.path))  # one name of a run, as the stock knows it
        file = path / RUN_FILE if os.path.isdir(path) else path
        if not os.path.isfile(file):  # these two ask of any text, be it too long for a name
            sheet.fault("the folder of a run, as seen from this sheet", "run", index, "path", value=entry.path)
        elif file.resolve() in found:
            sheet.fault("each run once", "run", index, "path", value=entry.path)
        else:
            found[file.resolve()] = LotRun(file, None if entry.cuts is None else tuple(dict.fromkeys(entry.cuts)))
    if len(found) > MOST_RUNS:
        sheet.fault(f"at most {MOST_RUNS} runs", "run", value=f"{len(found)} runs")
    return tuple(found.values())


def _targets(sheet: LotSheetReader) -> tuple[LotTarget, ...]:
    from fractionkit.sheets.lot_sections import WantedSection

    found = []
    for index, entry in sheet.repeated("target", WantedSection):
        missing = [key for key in ("component", "purity") if not sheet.given("target", index, key)]
        if missing:
            sheet.fault(f'{" and ".join(missing)} as well, like purity = "99 wt%"', "target", index)
        component = None if entry.component is None else sheet.substance(entry.component, "target", index, "component")
        if component is None or entry.purity is None:
            continue
        found.append(
            LotTarget(
                component,
                entry.purity.value,
                0.95 if entry.confidence is None else entry.confidence.value,
                entry.rule,
                entry.purity.last_digit or 0.01,
                tuple(entry.grade),
                entry.price,
                entry.whole,
                0.0 if entry.least_part is None else entry.least_part.value,
                None if entry.most is None else entry.most.value,
            )
        )
    if not sheet.given("target"):
        sheet.fault('what the lot must be: [[target]] with component and purity = "99 wt%"', "target")
    if len(found) > MOST_TARGETS:
        sheet.fault(f"at most {MOST_TARGETS} targets", "target", value=f"{len(found)} targets")
    priced = [target.price is not None for target in found]
    if any(priced) and not all(priced):
        place = priced.index(False)
        sheet.fault("a price of every target, or of none: they are weighed against each other", "target", place)
    return tuple(found)


def _tests(sheet: LotSheetReader, targets: int) -> tuple[EnteredTest, ...]:
    from fractionkit.sheets.lot_sections import LotTestSection

    found = []
    for index, entry in sheet.repeated("test", LotTestSection):
        missing = [key for key in ("attribute", "result") if not sheet.given("test", index, key)]
        if missing:
            sheet.fault(f"{' and '.join(missing)} as well", "test", index)
        if entry.lot is not None and entry.lot > targets > 0:
            sheet.fault(_one_of(targets), "test", index, "lot", value=entry.lot)
        if entry.attribute is None or entry.result is None:
            continue
        attribute = " ".join(entry.attribute.lower().replace("_", " ").split())
        close = nearest(attribute, KINDS) if attribute not in KINDS else ""
        if close and isinstance(entry.result, str) and any(c.isdigit() for c in entry.result):
            sheet.fault(
                f"an attribute like {', '.join(KINDS)}{close}", "test", index, "attribute", value=entry.attribute
            )
        try:
            result, high = read_result(attribute, entry.result)
        except InputError as error:
            for fault in error.faults:
                sheet.fault(fault.expected, "test", index, "result", value=entry.result)
            continue
        temperature = None if entry.temperature is None else entry.temperature.value
        lot = None if entry.lot is None else entry.lot - 1
        found.append(EnteredTest(attribute, result, entry.method, high, temperature, lot))
    return tuple(found)


def _one_of(targets: int) -> str:
    if targets == 1:
        return "lot = 1, the one [[target]] of this sheet"
    return f"the number of a [[target]] in the order of the sheet, from 1 to {targets}"


def _stabiliser(sheet: LotSheetReader, targets: int) -> AddedStabiliser | None:
    from fractionkit.sheets.lot_sections import StabiliserSection

    entry = sheet.section("stabiliser", StabiliserSection)
    if sheet.given("stabiliser") and not sheet.given("stabiliser", "added"):
        sheet.fault('what was added, like added = "ethanol"', "stabiliser")
    if entry.lot is not None and entry.lot > targets > 0:
        sheet.fault(_one_of(targets), "stabiliser", "lot", value=entry.lot)
    if entry.added is None:
        return None
    if entry.date is not None and entry.retest is not None and entry.retest <= entry.date:
        sheet.fault("a date after that on which it was added", "stabiliser", "retest", value=entry.retest)
    lot = None if entry.lot is None else entry.lot - 1
    return AddedStabiliser(entry.added, entry.amount, entry.date, entry.retest, lot)


def _economics(sheet: LotSheetReader) -> Economics | None:
    from fractionkit.sheets.lot_sections import EconomicsSection

    if not sheet.given("economics"):
        return None
    entry = sheet.section("economics", EconomicsSection)
    for amount, price, what in (
        ("labour", "labour_rate", "hour"),
        ("energy", "energy_price", "kWh"),
        ("makeup", "makeup_price", "kg of fresh solvent"),
    ):
        if sheet.given("economics", amount) and not sheet.given("economics", price):
            sheet.fault(f"{price} as well, the price of one {what}, like {price} = 18.50", "economics", amount)
    return Economics(
        entry.currency,
        entry.labour_rate,
        entry.energy_price,
        entry.makeup_price,
        entry.disposal_price,
        entry.new_price,
        _effort(entry),
    )


def _effort(entry: EffortKeys) -> Effort:
    labour, energy, makeup = entry.labour, entry.energy, entry.makeup
    return Effort(
        None if labour is None else labour.value,
        None if energy is None else energy.value,
        None if makeup is None else makeup.value,
    )


def _another_pass(sheet: LotSheetReader) -> AnotherPass | None:
    from fractionkit.sheets.lot_sections import AnotherPassSection

    if not sheet.given("another_pass"):
        return None
    entry = sheet.section("another_pass", AnotherPassSection)
    if not sheet.given("another_pass", "kept"):
        sheet.fault('what it is expected to add, like kept = "430 ± 60 g"', "another_pass")
    if not sheet.given("economics"):
        sheet.fault("[economics] as well, with the prices", "another_pass")
    for amount, price in (("labour", "labour_rate"), ("energy", "energy_price"), ("makeup", "makeup_price")):
        if sheet.given("another_pass", amount) and not sheet.given("economics", price):
            sheet.fault(f"{price} under [economics] as well", "another_pass", amount)
    return None if entry.kept is None else AnotherPass(entry.kept, _effort(entry))
