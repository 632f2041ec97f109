"""One or more set-ups run through all scenarios together, each cut at its best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import ConvergenceError
from fractionkit.planning.cutting.best import best_cuts
from fractionkit.planning.cutting.curve import By, Collected, collected
from fractionkit.planning.cutting.heart import all_pairs, guarded
from fractionkit.planning.cutting.model import CutPlan
from fractionkit.planning.cutting.words import sentences
from fractionkit.planning.model import Costs, Course, Trial
from fractionkit.planning.reach import total_reflux_limit
from fractionkit.planning.running_costs import USUAL_STARTUP, Rates, coolant, course
from fractionkit.planning.running_costs import Course as TimeCourse
from fractionkit.planning.sampling import central
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import SetUp
from fractionkit.planning.shortcut import hardest_pair, shortcut
from fractionkit.quantities import Estimate, format_typed
from fractionkit.sheets.still_model import StillEntry
from fractionkit.still import Distillation, distil

Array = NDArray[np.float64]

TOLERANCE = 2e-3
"""Of the plan's distillations; what that leaves uncertain is a tenth of what the feed does."""

ROOM = 0.9
"""Part of the charge that column and head may hold at most for a distillation to make sense."""

CLOSE = 0.93
"""Part of the best by coarse marks from which on both ways of watching are worked out in full."""

COARSE = 40
"""Marks between which it is first seen whether to watch the head or the mass."""

POINTS = 121
"""Points of the curves for the pictures."""

USUAL_RECEIVERS = 4


@dataclass(frozen=True)
class Wish:
    """One trial that is wanted: a set-up at one reflux ratio."""

    setup: SetUp
    reflux: float


def estimate(values: Array) -> Estimate:
    """Median and 95 % interval from scenarios (S,)."""
    low, middle, high = central(values)
    return Estimate(float(middle), float(low), float(high))


def chance_margin(confidence: float, count: int) -> float:
    """How much more than the confidence is asked of ``count`` scenarios, and taken off again from what is told.

    The receiver changes are chosen on the scenarios on which they are judged, so that they suit these better than others:
    by about one standard error of a share of so many, sqrt(c (1 - c) / S) (found with truths of other seeds; a test does
    that again).
    """
    return min(float(np.sqrt(confidence * (1.0 - confidence) / count)), 0.5 * (1.0 - confidence))


def run_trials(scenarios: Scenarios, wishes: Sequence[Wish], still: StillEntry) -> list[Trial]:
    """Run trials together; those that cannot be run come back with the reason."""
    reasons = [hindrance(scenarios, wish, still) for wish in wishes]
    able = [wish for wish, reason in zip(wishes, reasons, strict=True) if not reason]
    try:
        done = iter(distilled(scenarios, able, still) if able else ())
    except ConvergenceError as error:
        if len(wishes) > 1:  # one of them spoils it for the others
            return [trial for wish in wishes for trial in run_trials(scenarios, [wish], still)]
        reason = f"this set-up cannot be computed: {error}"
        return [
            Trial(wish.setup, wish.reflux, estimate(scenarios.stages(wish.setup)), impossible=reason) for wish in wishes
        ]
    return [
        _judged(scenarios, wish, next(done), still)
        if not reason
        else Trial(wish.setup, wish.reflux, estimate(scenarios.stages(wish.setup)), impossible=reason)
        for wish, reason in zip(wishes, reasons, strict=True)
    ]


def hindrance(scenarios: Scenarios, wish: Wish, still: StillEntry) -> str:
    """Why a set-up cannot be run with this charge at all; "" where it can."""
    held, left = _kept_back(scenarios, wish.setup, still)
    charge = scenarios.moles.sum(axis=1)
    volume = charge * scenarios.molar_volume()
    if np.quantile(held / charge, 0.95) >= ROOM:
        return (
            f"column and head hold {1e6 * wish.setup.holdup:.0f} mL, the charge is only {1e6 * volume.mean():.0f} mL: "
            "nothing would come over"
        )
    if np.any(held + left >= 0.98 * charge):
        return "hold-up and heel together are all of the charge: nothing would come over"
    if still.longest is not None and _startup(wish.setup, still) >= still.longest:
        return f"the {still.longest / 3600:.3g} h are over before the first drop is taken"
    return ""


def _kept_back(scenarios: Scenarios, setup: SetUp, still: StillEntry) -> tuple[Array, Array]:
    """Moles (S,) held up and moles that stay in the pot."""
    held = scenarios.holdup(setup)
    charge = scenarios.moles.sum(axis=1)
    usual = 0.05 * np.maximum(charge - held, 0.0)
    return held, usual if still.heel is None else still.heel / scenarios.molar_volume()


def _startup(setup: SetUp, still: StillEntry) -> float:
    return USUAL_STARTUP[setup.stages > 1.0] if still.startup is None else still.startup


def distilled(scenarios: Scenarios, wishes: Sequence[Wish], still: StillEntry) -> list[Distillation]:
    """Distil all scenarios of all trials in one go, and take them apart again."""
    S, B = scenarios.count, len(wishes)
    index = np.tile(np.arange(S), B)
    stages = np.concatenate([scenarios.stages(wish.setup) for wish in wishes])
    back = [_kept_back(scenarios, wish.setup, still) for wish in wishes]
    held = np.concatenate([part[0] for part in back])
    part = 1.0 - (held + np.concatenate([left for _, left in back])) / scenarios.moles[index].sum(axis=1)
    reflux = np.repeat([wish.reflux for wish in wishes], S)
    made = run_through(scenarios, stages, reflux, held, part, index, tolerance=TOLERANCE)
    return [_rows(made, slice(k * S, (k + 1) * S)) for k in range(B)]


_NOT_ALONG = ("molar_mass", "charge", "finished")


def run_through(
    scenarios: Scenarios, stages: Array, reflux: Array, held: Array, part: Array, index: NDArray[np.intp], *,
    tolerance: float,
) -> Distillation:  # fmt: skip
    """Distil ``part`` of the charges of the scenarios ``index``, all (T,); ``held`` moles are in the column, if there is one."""
    alone = stages <= 1.0
    return distil(
        scenarios.volatility.take(index),
        scenarios.moles[index],
        stages,
        reflux,
        scenarios.pressure[index],
        distilled=part,
        column_holdup=np.where(alone, 0.0, held),
        condenser_holdup=np.where(alone, held, 0.0),
        tolerance=tolerance,
        points=2,
    )


def _rows(made: Distillation, rows: slice) -> Distillation:
    """Some scenarios of a distillation, without the points that only others needed."""
    moving = np.flatnonzero((np.diff(made.distilled[rows], axis=1) > 0.0).any(axis=0))
    last = int(moving.max(initial=0)) + 2
    along = {f.name: getattr(made, f.name)[rows, :last] for f in fields(made) if f.name not in _NOT_ALONG}
    return replace(made, **along, charge=made.charge[rows], finished=made.finished[rows])


def _judged(scenarios: Scenarios, wish: Wish, made: Distillation, still: StillEntry) -> Trial:
    """Cut a distillation and tell what it gives and costs."""
    setup, target = wish.setup, scenarios.feed.target
    stages, margin = scenarios.stages(setup), chance_margin(target.confidence, scenarios.count)
    asked = target.confidence + margin
    times = course(made, rates(scenarios, setup, still))
    stop = stop_mass(times, still)
    curve = collected(made, reading_error=scenarios.at_the_change, stop=stop)
    made_cuts = [
        best_cuts(
            made, scenarios.component, target.purity, asked, still.receivers or USUAL_RECEIVERS, by=by,
            reading_error=scenarios.at_the_change, names=scenarios.feed.components, stop=stop, possible=False,
        )
        for by in watch(curve, scenarios.component, target.purity, asked)
    ]  # fmt: skip
    cuts = max(made_cuts, key=lambda one: float(one.kept.mean()))
    cuts = sentences(replace(cuts, confidence=target.confidence, probability=max(cuts.probability - margin, 0.0)))
    pair = hardest_pair(scenarios.mixture, scenarios.feed.w.mean(axis=0), scenarios.pressure_mean, scenarios.component)
    first = made.distillate[:, 0].mean(axis=0)
    reason, limit = _why_not(scenarios, wish, cuts, made, times, still)
    return Trial(
        setup,
        wish.reflux,
        estimate(stages),
        cuts=cuts,
        kept=estimate(cuts.kept) if cuts.heart is not None else None,
        assay=estimate(cuts.assay) if cuts.heart is not None else None,
        recovery=estimate(cuts.recovery) if cuts.heart is not None else None,
        portions=_portions(cuts),
        rest=estimate(cuts.rest),
        costs=_costs(cuts, times, still),
        course=_course(curve),
        shortcut=None if pair is None else shortcut(pair, target.purity, setup.stages, wish.reflux, first),
        impossible=reason,
        limit=limit,
    )


def rates(scenarios: Scenarios, setup: SetUp, still: StillEntry) -> Rates:
    """What limits the boil-up of a set-up."""
    endless = np.full(scenarios.count, np.inf)
    flow = scenarios.throughput(setup)
    flow = endless if flow is None else flow
    if still.boilup is not None:
        flow = np.minimum(flow, still.boilup.value)
    power = endless if still.heater is None else np.full(scenarios.count, still.heater.value)
    return Rates(
        power,
        flow,
        scenarios.pure_volumes(),
        _startup(setup, still),
        np.inf if still.longest is None else still.longest,
    )


def stop_mass(times: TimeCourse, still: StillEntry) -> Array:
    """Kilograms (S,) distilled when everything that can come over has, or the time is over."""
    total = times.mass[:, -1]
    if still.longest is None or not np.all(np.isfinite(times.time)):
        return np.asarray(total)
    return np.clip(times.mass_at(still.longest), 1e-6 * total, total)


def watch(curve: Collected, component: int, purity: float, confidence: float) -> tuple[By, ...]:
    """Whether to change receivers by the head temperature or by the mass: what keeps more, both where that is close."""
    kept: dict[By, float] = {}
    kinds: tuple[By, ...] = ("head", "mass")
    for by in kinds:
        marks = curve.nodes(COARSE, by)
        pairs = all_pairs(curve, curve.at(marks, by), component, from_start=False)
        fits = guarded(pairs.assay, confidence) >= purity
        kept[by] = float(pairs.mass.mean(axis=-1)[fits].max(initial=0.0))
    most = max(kept.values())
    return tuple(by for by in kinds if kept[by] >= CLOSE * most) if most > 0.0 else ("mass",)


def _why_not(
    scenarios: Scenarios, wish: Wish, cuts: CutPlan, made: Distillation, times: TimeCourse, still: StillEntry
) -> tuple[str, float | None]:
    """Why the target is not reached, and the limit: by the time, by this reflux, or by these stages at any reflux."""
    if cuts.heart is not None:
        return "", None
    target, asked = scenarios.feed.target, format_typed(scenarios.feed.target.purity)
    number = f"{wish.setup.stages:.3g} stage" + ("" if wish.setup.stages == 1.0 else "s")
    if bool(np.any(stop_mass(times, still) < 0.999 * times.mass[:, -1])):
        whole = collected(made, reading_error=scenarios.at_the_change)
        marks = whole.nodes(COARSE, "mass")
        pairs = all_pairs(whole, whole.at_mass(marks), scenarios.component, from_start=False)
        if guarded(pairs.assay, cuts.confidence).max() >= target.purity:
            hours = (still.longest or 0.0) / 3600
            return f"no cut of {asked} within {hours:.3g} h: it comes later", cuts.reach
    if wish.setup.stages <= 1.0:
        return f"no cut of {asked} with {number}: at most {100 * cuts.reach:.4g} wt%", cuts.reach
    try:
        limit = total_reflux_limit(scenarios, wish.setup)
    except ConvergenceError:  # a profile that is not found at total reflux says nothing of this reflux
        limit = 1.0
    if limit < target.purity:
        return f"no cut of {asked} with {number} at any reflux: at most {100 * limit:.4g} wt%", limit
    return f"no cut of {asked} at reflux {wish.reflux:g}: at most {100 * cuts.reach:.4g} wt%", cuts.reach


def _portions(cuts: CutPlan) -> dict[str, tuple[int, Estimate]]:
    """Receivers that are not kept, by what becomes of them."""
    found: dict[str, list[Array]] = {}
    for place, receiver in enumerate(cuts.receivers):
        if place != cuts.heart and float(receiver.mass.mean()) > 0.0:
            found.setdefault(receiver.decision, []).append(receiver.mass)
    return {decision: (len(parts), estimate(np.sum(parts, axis=0))) for decision, parts in found.items()}


def _costs(cuts: CutPlan, times: TimeCourse, still: StillEntry) -> Costs:
    masses = cuts.masses
    time, heat = times.at(masses[:, -1 if cuts.heart is None else cuts.heart])
    whole, _ = times.at(masses[:, -1])
    known = bool(np.all(np.isfinite(time)))
    return Costs(
        estimate(time) if known else None,
        estimate(heat),
        estimate(coolant(heat, still.cooling_rise)),
        estimate(whole) if known else None,
    )


def _course(curve: Collected) -> Course:
    """Median course on common masses, as far as the middle scenario goes."""
    mass = np.linspace(0.0, float(np.median(curve.end)), POINTS)
    head = curve.head_at(np.minimum(mass, curve.end[:, None]))
    low, middle, high = central(head)
    over = curve.at_mass(mass).mean(axis=0)
    made = np.maximum(np.gradient(over, mass, axis=0), 0.0)
    return Course(mass, middle, low, high, made / np.maximum(made.sum(axis=1, keepdims=True), 1e-300))
