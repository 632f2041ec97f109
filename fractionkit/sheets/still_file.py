"""Reading a plan: STILL.toml, every fault told at once."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from pathlib import Path

from fractionkit.errors import InputError
from fractionkit.quantities import COVERAGE_95, Quantity
from fractionkit.sheets import entries
from fractionkit.sheets.faults import Faults
from fractionkit.sheets.model import TargetEntry
from fractionkit.sheets.runfile import RunSheet
from fractionkit.sheets.sections import TargetSection
from fractionkit.sheets.source import read_text
from fractionkit.sheets.still_model import CampaignEntry, FeedEntry, SetupEntry, StillEntry, StillSheet
from fractionkit.sheets.still_sections import (
    CampaignSection,
    FeedSection,
    PlanSection,
    SetupSection,
    StillFile,
    StillSection,
)

STILL_FILE = "STILL.toml"
MOST_SETUPS = 1000
MOST_COMPONENTS = 5
DEFAULT_CONFIDENCE = 0.95


class StillSheetFile(RunSheet):
    """The sections of one STILL.toml, read as `RunSheet` reads run.toml."""

    sections = StillFile


def load_still(path: str | Path) -> StillSheet:
    """Read a plan from its file, or from the STILL.toml in a folder.

    Raises
    ------
    InputError
        with every fault of the sheet, each with file, row, key, value and what is expected.
    """
    source = _file(Path(path))
    faults = Faults(str(source))
    text = read_text(source, faults)
    if text is None:
        raise InputError(faults.all())
    sheet = StillSheetFile(text, faults)
    plan = _assemble(source, sheet) if sheet.readable else None
    if faults or plan is None:
        raise InputError(faults.all())
    return plan


def _file(path: Path) -> Path:
    inside = path / STILL_FILE
    return inside if os.path.isdir(path) else path


def _assemble(source: Path, sheet: StillSheetFile) -> StillSheet:
    head = sheet.section("plan", PlanSection)
    feed, components = _feed(sheet, source)
    return StillSheet(
        source=source,
        title=head.title or source.resolve().parent.name,
        date=head.date,
        components=components,
        feed=feed,
        pressure=entries.pressure(sheet),
        thermometer=entries.thermometer(sheet),
        target=_target(sheet, feed, components),
        still=_still(sheet),
        setups=_setups(sheet, source),
        rank=head.rank,
        campaign=_campaign(sheet),
    )


def _feed(sheet: StillSheetFile, source: Path) -> tuple[FeedEntry, tuple[str, ...]]:
    entry = sheet.section("feed", FeedSection)
    _check_feed(sheet, entry)
    shares, rest = _composition(sheet, entry)
    keys = ("mass", "composition", "run", "portion", "cuts", "bottles", "stock")
    feed = FeedEntry(
        mass=entry.mass,
        composition={name: share for name, share in shares.items() if share is not None},
        rest=rest,
        run=None if entry.run is None else source.parent / entry.run,
        portion=entry.portion,
        cuts=tuple(entry.cuts or ()),
        bottles=tuple(entry.bottles or ()),
        stock=None if entry.stock is None else source.parent / entry.stock,
        rows={key: sheet.lines.of("feed", key) for key in keys if sheet.given("feed", key)},
    )
    return feed, tuple(shares)


def _check_feed(sheet: StillSheetFile, entry: FeedSection) -> None:
    """One of composition, run and bottles, with what belongs to it."""
    ways = [key for key in ("composition", "run", "bottles") if sheet.given("feed", key)]
    if not ways:
        expected = (
            'what is to be distilled: [feed] with mass = "2400 g" and composition = { trichloroethylene = "40 ± 3 wt%", '
            'tetrachloroethylene = "rest" }, or run = "../charge-7" with portion = "recycle", or bottles with stock'
        )
        sheet.fault(expected, "feed")
    elif len(ways) > 1:
        sheet.fault(f"only one of {', '.join(ways)}", "feed", ways[1], value=sheet.typed("feed", ways[1]))
    if "composition" in ways and not sheet.given("feed", "mass"):
        sheet.fault('the mass of the charge as well, like mass = "2400 g"', "feed")
    for key, owner in (("portion", "run"), ("cuts", "run"), ("stock", "bottles")):
        if sheet.given("feed", key) and not sheet.given("feed", owner):
            sheet.fault(f"{owner} as well", "feed", key, value=sheet.typed("feed", key))
    if sheet.given("feed", "portion") and sheet.given("feed", "cuts"):
        sheet.fault("portion or cuts, not both", "feed", "cuts", value=sheet.typed("feed", "cuts"))
    for key in ("cuts", "bottles"):
        names = getattr(entry, key)
        if names is not None and (not names or len(set(names)) < len(names)):
            sheet.fault("one or more names, each once", "feed", key, value=names)


def _composition(sheet: StillSheetFile, entry: FeedSection) -> tuple[dict[str, Quantity | None], str | None]:
    """Shares by canonical name in the order of the sheet, None for the rest; and which one is the rest."""
    typed = sheet.typed("feed", "composition")
    shares = entry.composition or {}
    found: dict[str, Quantity | None] = {}
    rests: list[str] = []
    for word in typed if isinstance(typed, Mapping) else ():
        name = sheet.substance(word, "feed", "composition", word)
        if name is None:
            continue
        if name in found:
            sheet.fault(f"each component once ({word!r} is {name})", "feed", "composition", value=word)
            continue
        found[name] = shares.get(word)
        if word in shares and shares[word] is None:
            rests.append(name)
    if isinstance(typed, Mapping):
        _check_shares(sheet, found, rests, complete=len(shares) == len(typed))
    return found, rests[0] if len(rests) == 1 else None


def _check_shares(
    sheet: StillSheetFile, found: Mapping[str, Quantity | None], rests: list[str], *, complete: bool
) -> None:
    typed = sheet.typed("feed", "composition")
    if not 2 <= len(typed) <= MOST_COMPONENTS:
        sheet.fault(f"2 to {MOST_COMPONENTS} components", "feed", "composition", value=typed)
    if len(rests) > 1:
        sheet.fault('one component at most as "rest"', "feed", "composition", value=typed)
    if not complete:
        return
    given = [share for share in found.values() if share is not None]
    total = sum(share.value for share in given)
    room = entries.ROUNDING + COVERAGE_95 * math.hypot(*(share.u or 0.0 for share in given))
    if rests and total > 1.0 + entries.ROUNDING:
        expected = f"shares that leave something for the rest; these add to {100 * total:.4g} wt%"
        sheet.fault(expected, "feed", "composition", value=typed)
    elif not rests and abs(total - 1.0) > room:
        expected = f'shares that add to 100 wt%, or one "rest"; these add to {100 * total:.4g} wt%'
        sheet.fault(expected, "feed", "composition", value=typed)


def _target(sheet: StillSheetFile, feed: FeedEntry, components: tuple[str, ...]) -> TargetEntry | None:
    """The target; it may be left out only where the run that is distilled again has one."""
    if not sheet.given("target"):
        if feed.run is None:
            sheet.fault('what is wanted: [target] with component = "tetrachloroethylene", purity = "99 wt%"', "target")
        return None
    entry = sheet.section("target", TargetSection)
    missing = [key for key in ("component", "purity") if not sheet.given("target", key)]
    if missing:
        sheet.fault(f'{" and ".join(missing)} as well, like purity = "99 wt%"', "target")
    component = None if entry.component is None else sheet.substance(entry.component, "target", "component")
    typed = sheet.typed("feed", "composition")
    known = isinstance(typed, dict) and len(components) == len(typed)  # otherwise it may be the one mistyped there
    if component is not None and components and known and component not in components:
        expected = f"one of the feed's components: {', '.join(components)}"
        sheet.fault(expected, "target", "component", value=entry.component)
    if component is None or entry.purity is None:
        return None
    confidence = DEFAULT_CONFIDENCE if entry.confidence is None else entry.confidence.value
    return TargetEntry(component, entry.purity.value, confidence)


def _still(sheet: StillSheetFile) -> StillEntry:
    entry = sheet.section("still", StillSection)
    if sheet.given("still", "heater") and sheet.given("still", "boilup"):
        expected = "heater or boilup, not both: either one says how fast it boils"
        sheet.fault(expected, "still", "boilup", value=sheet.typed("still", "boilup"))
    if entry.pot is not None and entry.heel is not None and entry.heel.value >= entry.pot.value:
        sheet.fault("less than the pot holds", "still", "heel", value=sheet.typed("still", "heel"))
    return StillEntry(
        heater=entry.heater,
        boilup=entry.boilup,
        pot=entries.si(entry.pot),
        heel=entries.si(entry.heel),
        cooling_in=entries.si(entry.cooling_in),
        cooling_rise=entries.si(entry.cooling_rise),
        longest=entries.si(entry.longest),
        startup=entries.si(entry.startup),
        receivers=entry.receivers,
    )


def _setups(sheet: StillSheetFile, source: Path) -> tuple[SetupEntry, ...]:
    read = []
    names: set[str] = set()
    for index, entry in sheet.repeated("setup", SetupSection):
        ways = [key for key in ("column", "run", "stages") if sheet.given("setup", index, key)]
        if not ways:
            expected = (
                'a column out of the built-in ones, like column = "vigreux 40", or stages = "6 ± 1", or run = "../test" of '
                "this still"
            )
            sheet.fault(expected, "setup", index)
        elif "run" in ways and len(ways) > 1:
            expected = f"run alone, which tells the stages, or {' and '.join(key for key in ways if key != 'run')}"
            sheet.fault(expected, "setup", index, "run", value=entry.run)
        name = entry.name
        if name is not None and name in names:
            sheet.fault("another name: each set-up has its own", "setup", index, "name", value=name)
        names.add(name or "")
        if entry.reflux is not None and not 1 <= len(entry.reflux) <= 20:
            sheet.fault("1 to 20 reflux ratios", "setup", index, "reflux", value=entry.reflux)
        rows = {key: sheet.lines.of("setup", index, key) for key in SetupSection.model_fields}
        read.append(
            SetupEntry(
                name=name,
                column=entry.column,
                run=None if entry.run is None else source.parent / entry.run,
                stages=entry.stages,
                holdup=entry.holdup,
                throughput=entry.throughput,
                reflux=tuple(entry.reflux or ()),
                rows={"": sheet.lines.of("setup", index), **rows},
            )
        )
    if len(read) > MOST_SETUPS:
        sheet.fault(f"at most {MOST_SETUPS} set-ups", "setup", value=f"{len(read)} set-ups")
    return tuple(read)


def _campaign(sheet: StillSheetFile) -> CampaignEntry:
    entry = sheet.section("campaign", CampaignSection)
    return CampaignEntry(entry.batches, entry.carried)
