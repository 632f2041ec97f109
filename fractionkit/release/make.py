"""From the sheet of a lot to the lots made, what they leave, and what can be said of both."""

from __future__ import annotations

import datetime
import os
from collections.abc import Collection, Sequence
from pathlib import Path

import numpy as np

from fractionkit.assessment.context import cautions
from fractionkit.assessment.estimates import estimates
from fractionkit.errors import Fault, InputError
from fractionkit.grades import Grade, Sample, judge_lot, load_grades
from fractionkit.lots import Combination, Wanted, combine, takes
from fractionkit.lots.frontier import frontier
from fractionkit.lots.second_order import Array
from fractionkit.quantities import Estimate, format_interval, format_typed
from fractionkit.release import economics, words
from fractionkit.release.model import Frontier, Left, MadeLot, Parent, Release
from fractionkit.release.sources import Sources, sources_of
from fractionkit.sheets import load_run
from fractionkit.sheets.lot_model import LotRun, LotSheet, LotTarget

FEWER_POINTS, MANY_MATERIALS = 10, 100  # of a frontier, where there are so many materials


def sheet_of_runs(paths: Sequence[Path]) -> LotSheet:
    """What `fractionkit lot RUN ...` means: all cuts of the runs, for the targets of their own sheets.

    Raises
    ------
    InputError
        with the faults of every run's sheet; or where none of them states a target.
    """
    faults: list[Fault] = []
    runs, targets, titles = [], [], []
    for path in paths:
        try:
            run = load_run(path)
        except InputError as error:
            faults += error.faults
            continue
        runs.append(LotRun(Path(os.path.normpath(run.source))))
        titles.append(run.title)
        if run.target is not None:
            targets.append(LotTarget(run.target.component, run.target.purity, run.target.confidence))
    if len({run.path.resolve() for run in runs}) < len(runs):
        faults.append(Fault(", ".join(map(str, paths)), "each run once"))
    if not targets and not faults:
        expected = 'a [target] in the sheet of a run, or the sheet of a lot with [[target]] and purity = "99 wt%"'
        faults.append(Fault(None, expected, ", ".join(str(run.path) for run in runs)))
    if faults:
        raise InputError(faults)
    title = titles[0] if len(titles) == 1 else f"{titles[0]} and {len(titles) - 1} more"
    return LotSheet(str(paths[0]), title, None, None, tuple(runs), (), tuple(dict.fromkeys(targets)))


def make_lots(sheet: LotSheet, *, today: datetime.date | None = None, taken: Collection[str] = ()) -> Release:
    """Make the lots that the sheet asks for.

    today : date of the lot where the sheet has none. taken : lot numbers that are given already.

    Raises
    ------
    InputError
        with the faults of the runs, cuts, bottles and grades that the sheet names.
    AtOddsError
        where the readings of a run are at odds: nothing may be labelled then.
    """
    found = sources_of(sheet)
    wanted = tuple(_wanted(target) for target in sheet.targets)
    _check_targets(sheet, found)
    extra = () if sheet.grades_file is None else load_grades(sheet.grades_file)
    prices = sheet.economics
    made = combine(found.materials, wanted, disposal=0.0 if prices is None else prices.disposal_price or 0.0)
    frontiers = tuple(_frontier(made, want) for want in wanted)
    date = sheet.date or today or datetime.date.today()
    numbers = _numbers(sheet.number, date, made, {*taken, *found.taken})
    lots, flags = [], list(found.flags)
    for place, (want, target) in enumerate(zip(wanted, sheet.targets, strict=True)):
        if made.mass[place] <= words.SETTLED:
            reach = frontiers[place]
            best = (float(reach.assay[-1]), float(reach.mass[-1])) if len(reach.assay) else None
            flags.append(words.empty_lot(want, best))
            continue
        lot = _lot(sheet, found, made, place, target, (numbers[place], date.isoformat()), extra)
        lots.append(lot)
        said = words.rule_flag(lot, want)
        flags += [said] if said else []
    return Release(
        sheet.title,
        tuple(lots),
        _left(found, made),
        frontiers,
        _economics(sheet, made),
        tuple(flags),
    )


def _wanted(target: LotTarget) -> Wanted:
    return Wanted(
        target.component,
        target.purity,
        target.confidence,
        target.rule,
        target.price,
        target.whole,
        target.least,
        float("inf") if target.most is None else target.most,
        target.step,
    )


def _check_targets(sheet: LotSheet, found: Sources) -> None:
    there = {name for material in found.materials for name in material.components}
    faults = [
        Fault(target.component, f"a component of what the lot is made of: {', '.join(sorted(there))}", sheet.source)
        for target in sheet.targets
        if target.component not in there
    ]
    if not found.materials:
        faults = [Fault(None, "cuts whose mass is known; there are none", sheet.source)]
    if faults:
        raise InputError(faults)


def _numbers(given: str | None, date: datetime.date, made: Combination, taken: set[str]) -> list[str]:
    """A number for each lot: as the sheet says, or L-<date>-<n> with the next n that is free."""
    several = int((made.mass > words.SETTLED).sum()) > 1
    if given is not None:
        return [f"{given}-{place + 1}" if several else given for place in range(len(made.wanted))]
    found: list[str] = []
    n = 0
    for mass in made.mass:
        n += 1 if mass > words.SETTLED else 0
        while f"L-{date}-{n}" in taken:
            n += 1
        found.append(f"L-{date}-{n}")
    return found


def _lot(
    sheet: LotSheet,
    found: Sources,
    made: Combination,
    place: int,
    target: LotTarget,
    called: tuple[str, str],
    extra: tuple[Grade, ...],
) -> MadeLot:
    want = made.wanted[place]
    into = np.flatnonzero(made.parts[place] > 0.0).tolist()
    draws, components = _present(made.lot_draws(place), made.components, want.component)
    assay_draws = draws[:, components.index(want.component)]
    composition = dict(zip(components, estimates(draws), strict=True))
    chance = float(made.chance[place])
    means = found.means(into)
    kept = sheet.stabiliser if sheet.stabiliser is not None and sheet.stabiliser.target in (None, place) else None
    sure = _quantile(assay_draws, want.confidence)
    tests = tuple(test for test in sheet.tests if test.target in (None, place))
    sample = Sample(want.component, components, draws, want.confidence, want.rule, tests, means)
    warned = cautions(components)
    runs = list(dict.fromkeys(id(found.runs[k]) for k in into))
    used = [next(run for run in found.runs if id(run) == key) for key in runs]
    meets = bool(chance >= want.confidence) if want.rule == "guarded" else bool(assay_draws.mean() >= want.limit)
    return MadeLot(
        called[0],
        sheet.title,
        called[1],
        components,
        want.component,
        want.purity,
        want.confidence,
        tuple(_parent(found, made, place, k) for k in into),
        float(made.mass[place]),
        made.mass_u(place),
        composition[want.component],
        composition,
        chance,
        meets,
        draws,
        judge_lot(target.grades, sample, extra),
        words.label(want, composition[want.component], sure, chance, means),
        words.stabiliser(want.component, warned, kept),
        sheet.storage,
        tuple(dict.fromkeys(step for run in used if run is not None for step in run.corrections)),
        tuple(dict.fromkeys(constant for run in used if run is not None for constant in run.constants)),
        warned,
        tests,
    )


def _present(draws: Array, components: tuple[str, ...], target: str) -> tuple[Array, tuple[str, ...]]:
    """The components that the lot's materials name; another run's are not there."""
    there = [i for i, name in enumerate(components) if name == target or draws[:, i].any()]
    return draws[:, there], tuple(components[i] for i in there)


def _quantile(assay: Array, confidence: float) -> float:
    return float(np.quantile(assay, 1.0 - confidence, method="lower"))


def _parent(found: Sources, made: Combination, place: int, k: int) -> Parent:
    material = made.materials[k]
    part = float(made.parts[place, k])
    composition = dict(zip(material.components, estimates(material.draws), strict=True))
    return Parent(material.origin, material.name, part, part * material.mass, composition, found.titles[k])


def _left(found: Sources, made: Combination) -> tuple[Left, ...]:
    several = len(made.wanted) > 1
    rest = []
    for k in np.flatnonzero(made.left > words.SETTLED).tolist():
        told = takes(made, k)
        want = made.wanted[told.lot]
        assay = _assay(made, k, want.component)
        donor = None if told.donor is None else _donor(made, told.donor, want.component)
        lot = f"lot {told.lot + 1}" if several else "the lot"
        text = words.takes_text(
            told,
            want,
            assay,
            donor,
            lot if made.mass[told.lot] > words.SETTLED else f"a lot of {format_typed(want.purity)}",
            found.density_words(k, want.component),
            full=bool(made.mass[told.lot] >= want.most * (1.0 - 1e-6)),
        )
        material = made.materials[k]
        more = told.more if told.donor is not None else None
        rest.append(
            Left(
                material.origin,
                material.name,
                told.left,
                text,
                found.titles[k],
                want.component,
                assay,
                told.chance,
                None if told.donor is None else made.materials[told.donor].name,
                more,
            )
        )
    return tuple(rest)


def _assay(made: Combination, k: int, component: str) -> Estimate:
    return estimates(made.draws[:, k, [made.components.index(component)]])[0]


def _donor(made: Combination, k: int, component: str) -> str:
    assay = _assay(made, k, component)
    text = format_interval(assay.estimate, assay.low, assay.high)
    short = text if text[0] in "<>" else f"{text.split(' (')[0]} wt%"
    return f"{made.materials[k].name} ({short})"


def _frontier(made: Combination, want: Wanted) -> Frontier:
    points = 24 if len(made.materials) <= MANY_MATERIALS else FEWER_POINTS
    assay, mass = frontier(made.materials, want, points=points, draws=made.draws)
    return Frontier(want.component, assay, mass, want.confidence, want.purity)


def _economics(sheet: LotSheet, made: Combination) -> tuple[tuple[str, str], ...]:
    prices = sheet.economics
    if prices is None:
        return ()
    kept = float(made.mass.sum())
    u = float(np.linalg.norm([made.mass_u(place) for place in range(len(made.wanted))]))
    again = None if sheet.another_pass is None else economics.another_pass(prices, sheet.another_pass)
    worth = None
    if all(target.price is not None for target in sheet.targets):
        worth = float(sum((target.price or 0.0) * m for target, m in zip(sheet.targets, made.mass, strict=True)))
    return economics.lines(prices, economics.recovery(prices, kept, u, float(made.left.sum())), worth, again)
