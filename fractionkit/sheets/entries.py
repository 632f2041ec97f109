"""Sections of run.toml to the entries of a Run, with the checks that need more than one value."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fractionkit.quantities import COVERAGE_95, Quantity
from fractionkit.sheets import model
from fractionkit.sheets.faults import nearest
from fractionkit.sheets.runfile import RunSheet
from fractionkit.sheets.sections import (
    ChargeSection,
    ColumnSection,
    DensitySection,
    HoldupSection,
    IndexSection,
    PressureSection,
    ResultSection,
    TargetSection,
    TestSection,
    ThermometerSection,
)

ROUNDING = 0.001  # shares of a composition that were rounded to 0.1 wt% may add up to this much over 1


class Names:
    """The components of a run, and other names held against them."""

    def __init__(self, sheet: RunSheet, typed: Sequence[str] | None) -> None:
        self.sheet = sheet
        self.complete = typed is not None and len(typed) >= 2
        self._typed: dict[str, str] = {}
        for index, name in enumerate(typed or ()):
            self._add(index, name)
        if typed is not None and len(typed) < 2:
            expected = (
                "two or more components: name what else may be in it too, "
                'like "ethanol" (stabiliser) or "water"; one alone is 100 % of itself'
            )
            sheet.fault(expected, "run", "components", value=list(typed))

    @property
    def components(self) -> list[str]:
        """Canonical names in sheet order."""
        return list(self._typed)

    def _add(self, index: int, name: str) -> None:
        canonical = self.sheet.substance(name, "run", "components", index)
        if canonical is None:
            self.complete = False
        elif canonical in self._typed:
            expected = f"each component once; {self._typed[canonical]!r} is the same substance"
            self.sheet.fault(expected, "run", "components", value=name)
        else:
            self._typed[canonical] = name

    def member(self, name: str, *path: str | int) -> str | None:
        """The component that ``name`` means; None, and a fault noted, where it means none of them."""
        canonical = self.sheet.substance(name, *path)
        if canonical is None or canonical in self._typed:
            return canonical
        if self.complete:  # otherwise it may be the one that was mistyped under [run]
            self.sheet.fault(f"one of the run's components: {', '.join(self.components)}", *path, value=name)
        return None


def u95(half_width: Quantity | None) -> float | None:
    """Standard uncertainty (SI) of a 95 % half-width."""
    return None if half_width is None else half_width.value / COVERAGE_95


def si(quantity: Quantity | None) -> float | None:
    """The SI value, or None."""
    return None if quantity is None else quantity.value


def pressure(sheet: RunSheet) -> model.PressureEntry:
    """Station pressure, or sea-level pressure with altitude: one of the two must be there."""
    entry = sheet.section("pressure", PressureSection)
    station, sea_level = sheet.given("pressure", "station"), sheet.given("pressure", "sea_level")
    if station and sea_level:
        expected = "station or sea_level, not both: keep the one that was read"
        sheet.fault(expected, "pressure", "sea_level", value=sheet.typed("pressure", "sea_level"))
    elif sea_level and not sheet.given("pressure", "altitude"):
        expected = 'altitude as well, like altitude = "640 m"; without it the pressure at the still is unknown'
        sheet.fault(expected, "pressure", "sea_level", value=sheet.typed("pressure", "sea_level"))
    elif not station and not sea_level:
        expected = (
            'a pressure, never guessed: [pressure] with station = "98.6 kPa" (read at the bench), '
            'or sea_level = "1019 hPa" (weather report) with altitude = "640 m"'
        )
        sheet.fault(expected, "pressure")
    return model.PressureEntry(entry.station, entry.sea_level, entry.altitude)


def thermometer(sheet: RunSheet) -> model.ThermometerEntry:
    """The head thermometer; a correction and calibration points would correct the same error twice."""
    entry = sheet.section("thermometer", ThermometerSection)
    if entry.correction is not None and (entry.ice_point is not None or entry.steam_point is not None):
        expected = "correction or ice_point/steam_point, not both: they correct the same error"
        sheet.fault(expected, "thermometer", "correction", value=sheet.typed("thermometer", "correction"))
    stem = None
    if entry.stem is not None:
        exposed, temperature = entry.stem.exposed, entry.stem.temperature
        if exposed is None or temperature is None:
            missing = "exposed" if exposed is None else "temperature"
            expected = f"{missing} as well: " + '{ exposed = 60, temperature = "30 degC" }'
            sheet.fault(expected, "thermometer", "stem", value=sheet.typed("thermometer", "stem"))
        else:
            stem = model.StemEntry(exposed.value, temperature.value, entry.stem.liquid)
    return model.ThermometerEntry(
        u95(entry.bias),
        u95(entry.repeat),
        0.0 if entry.correction is None else entry.correction.value,
        entry.ice_point,
        entry.steam_point,
        stem,
    )


def density(sheet: RunSheet) -> model.DensityEntry:
    """The density instrument; a weighed vessel needs its two masses and the water's temperature."""
    entry = sheet.section("density", DensitySection)
    if entry.method and entry.vessel and entry.method != entry.vessel:
        expected = f"the same as method ({entry.method!r}), or only one of the two"
        sheet.fault(expected, "density", "vessel", value=entry.vessel)
    parts = ("empty_mass", "water_mass", "water_temp")
    missing = [part for part in parts if not sheet.given("density", part)]
    if 0 < len(missing) < len(parts):
        expected = (
            f"{' and '.join(missing)} as well: a vessel is weighed empty and full of water at a known temperature"
        )
        sheet.fault(expected, "density")
    empty, water = si(entry.empty_mass), si(entry.water_mass)
    if empty is not None and water is not None and water <= empty:
        expected = "the vessel full of water to weigh more than empty (empty_mass)"
        sheet.fault(expected, "density", "water_mass", value=sheet.typed("density", "water_mass"))
    return model.DensityEntry(
        u95(entry.bias),
        u95(entry.repeat),
        entry.method or entry.vessel,
        empty,
        water,
        si(entry.water_temp),
        u95(entry.thermometer_bias),
        u95(entry.thermometer_repeat),
        si(entry.calibration_temp),
    )


def refractive_index(sheet: RunSheet) -> model.IndexEntry:
    """The refractometer."""
    entry = sheet.section("refractive_index", IndexSection)
    return model.IndexEntry(u95(entry.bias), u95(entry.repeat))


def charge(sheet: RunSheet, name: str, names: Names) -> model.ChargeEntry | None:
    """The section ``charge`` or ``residue``; None where it is not given."""
    if not sheet.given(name):
        return None
    entry = sheet.section(name, ChargeSection)
    if sheet.given(name, "density") and not sheet.given(name, "density_temp"):
        expected = 'density_temp as well, like density_temp = "20 degC"'
        sheet.fault(expected, name, "density", value=sheet.typed(name, "density"))
    composition: dict[str, Quantity] = {}
    shares = entry.composition or {}  # empty where one share is wrong; the names are still checked
    typed = sheet.typed(name, "composition")
    seen: set[str] = set()
    for word in typed if isinstance(typed, Mapping) else ():
        component = names.member(word, name, "composition", word)
        if component in seen:
            sheet.fault(f"each component once ({word!r} is {component})", name, "composition", value=word)
        elif component is not None:
            seen.add(component)
            if word in shares:
                composition[component] = shares[word]
    _check_sum(sheet, name, composition, names)
    return model.ChargeEntry(entry.mass, entry.volume, entry.density, si(entry.density_temp), composition)


def _check_sum(sheet: RunSheet, name: str, composition: dict[str, Quantity], names: Names) -> None:
    """Shares add to 100 % at most, and to 100 % where all are given, within rounding and their own ±."""
    total = sum(share.value for share in composition.values())
    room = ROUNDING + COVERAGE_95 * math.hypot(*(share.u or 0.0 for share in composition.values()))
    everything = names.complete and len(composition) == len(names.components) > 0
    found = sheet.typed(name, "composition")
    if total > 1.0 + room:
        expected = f"shares that add to 100 wt% at most; these add to {100 * total:.4g} wt%"
        sheet.fault(expected, name, "composition", value=found)
    elif everything and total < 1.0 - room:
        expected = (
            f"shares of all components that add to 100 wt%; these add to {100 * total:.4g} wt% "
            "(leave one component out if it makes up the rest)"
        )
        sheet.fault(expected, name, "composition", value=found)


def holdup(sheet: RunSheet) -> Quantity | None:
    """Mass left wetting the still."""
    entry = sheet.section("holdup", HoldupSection)
    if sheet.given("holdup") and not sheet.given("holdup", "mass"):
        sheet.fault('mass = "5 ± 2 g"', "holdup")
    return entry.mass


def column(sheet: RunSheet) -> model.ColumnEntry | None:
    """The still that was used; None where the sheet says nothing of it."""
    if not sheet.given("still"):
        return None
    entry = sheet.section("still", ColumnSection)
    if not sheet.given("still", "stages") and not sheet.given("still", "reflux"):
        sheet.fault('stages = "5 ± 1" or reflux = "3 ± 0.5", or both', "still")
    return model.ColumnEntry(entry.stages, entry.reflux)


def target(sheet: RunSheet, names: Names) -> model.TargetEntry | None:
    """What is wanted; None where it is not given."""
    if not sheet.given("target"):
        return None
    entry = sheet.section("target", TargetSection)
    missing = [key for key in ("component", "purity") if not sheet.given("target", key)]
    if missing:
        sheet.fault(f'{" and ".join(missing)} as well, like purity = "99 wt%"', "target")
    if entry.component is None:
        return None
    component = names.member(entry.component, "target", "component")
    if component is None or entry.purity is None:
        return None
    confidence = 0.95 if entry.confidence is None else entry.confidence.value
    return model.TargetEntry(component, entry.purity.value, confidence)


def tests(sheet: RunSheet, names: Names, cuts: Sequence[str] | None) -> tuple[model.TestEntry, ...]:
    """The qualitative tests; ``cuts`` are the names in the table, None where it could not be read."""
    read = []
    for index, entry in sheet.repeated("test", TestSection):
        keys = ("cut", "component", "result", "detection_limit")
        found = _about_a_cut(sheet, ("test", index), entry, keys, names, cuts)
        if found is not None and entry.result is not None and entry.detection_limit is not None:
            read.append(model.TestEntry(*found, entry.result, entry.detection_limit.value))
    return tuple(read)


def results(sheet: RunSheet, names: Names, cuts: Sequence[str] | None) -> tuple[model.ResultEntry, ...]:
    """Mass fractions found elsewhere; ``cuts`` as in `tests`."""
    read = []
    for index, entry in sheet.repeated("result", ResultSection):
        found = _about_a_cut(sheet, ("result", index), entry, ("cut", "component", "fraction"), names, cuts)
        if found is not None and entry.fraction is not None:
            read.append(model.ResultEntry(*found, entry.fraction))
    return tuple(read)


def _about_a_cut(
    sheet: RunSheet,
    place: tuple[str, int],
    entry: TestSection | ResultSection,
    keys: Sequence[str],
    names: Names,
    cuts: Sequence[str] | None,
) -> tuple[str, str] | None:
    """Cut and component that a section speaks of, None where either is at fault; every missing key is noted."""
    missing = [key for key in keys if not sheet.given(*place, key)]
    if missing:
        sheet.fault(f"{', '.join(missing)} as well", *place)
    component = None if entry.component is None else names.member(entry.component, *place, "component")
    cut = None if entry.cut is None else entry.cut.strip()
    if cut is not None and cuts is not None and cut not in frozenset(cuts):
        expected = f"the name of a cut in the table{nearest(cut, cuts) or ': ' + _some(cuts)}"
        sheet.fault(expected, *place, "cut", value=cut)
    return None if cut is None or component is None else (cut, component)


def _some(cuts: Sequence[str]) -> str:
    named = list(dict.fromkeys(cut for cut in cuts if cut))
    return ", ".join(named[:6]) + (", …" if len(named) > 6 else "")
