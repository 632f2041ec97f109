"""Help during the run: the scenarios of a plan, weighted by what the head thermometer shows at what has come over.

Every scenario of the plan says what the head would read when so much has been collected. Readings weight the scenarios
(the thermometer's bias, which repeats, is integrated out), so the answer sharpens with every one. Where none of the
scenarios comes near, the plan does not describe this run, and that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Estimate
from fractionkit.composition.summary import pick_samples
from fractionkit.composition.tail import chi_square_tail
from fractionkit.errors import Fault, InputError
from fractionkit.planning.cutting_curve import By, Collected, collected
from fractionkit.planning.cutting_heart import guarded
from fractionkit.planning.during_model import BenchReading, Change, During, Mixed
from fractionkit.planning.running_costs import Course, course
from fractionkit.planning.scenarios import Scenarios, scenarios_of
from fractionkit.planning.setups import SetUp, setups_of
from fractionkit.planning.trial import Wish, estimate, hindrance, rates
from fractionkit.sheets.faults import nearest
from fractionkit.sheets.still_model import StillSheet
from fractionkit.still import Distillation, distil

Array = NDArray[np.float64]

COUNT, MANY = 400, 1600
"""Scenarios at first, and where too few of those carry the answer."""

ENOUGH = 40.0
DRAWS = 300
REPEAT = 0.15
"""K, fresh in each reading, where the sheet does not say; a thermometer read to half a degree (common practice)."""

LAG = 0.003
"""Standard deviation, in parts of the charge, of the mass to which a reading belongs: drops under way, a thermometer
that follows late (common practice, no source)."""

REFLUX_U = 0.1
"""Relative standard uncertainty of a reflux ratio set at the bench (common practice, no source)."""

IMPOSSIBLE, DOUBTFUL = 1e-3, 0.02
MARKS = 64
TOLERANCE = 1e-3
HEEL = 0.03


@dataclass(frozen=True)
class Started:
    """The plan's scenarios distilled: what has come over, as read without the thermometer's bias; and the times.

    held : (S,) kg in column and head, about. stages : (S,).
    """

    sheet: StillSheet
    scenarios: Scenarios
    setup: SetUp
    reflux: float
    curve: Collected
    times: Course
    held: Array
    stages: Array


def during(
    sheet: StillSheet,
    readings: Sequence[BenchReading],
    *,
    since: float = 0.0,
    setup: str | None = None,
    reflux: float | None = None,
) -> During:
    """Say where a distillation stands and when to change receivers.

    Parameters
    ----------
    sheet : the plan. readings : what was seen, the last one being now. since : kg collected in all when the present
    receiver was set under. setup, reflux : which of the plan's set-ups is running; needed where it has several.

    Raises
    ------
    InputError
        for a set-up that the plan lacks, more collected than there is, masses that fall.
    """
    _check(readings, since)
    started = start(sheet, setup=setup, reflux=reflux)
    found = follow(started, readings, since=since)
    if found.effective < ENOUGH and not found.impossible:
        found = follow(start(sheet, setup=setup, reflux=reflux, count=MANY), readings, since=since)
    return found


def start(
    sheet: StillSheet, *, setup: str | None = None, reflux: float | None = None, count: int = COUNT
) -> Started:
    """Distil the scenarios of a plan, to be followed with one reading after the other; see `during`."""
    chosen, ratio = _chosen(sheet, setup, reflux)
    return _run(sheet, chosen, ratio, count)


def follow(running: Started, readings: Sequence[BenchReading], *, since: float = 0.0) -> During:
    """Where a distillation stands, from scenarios that were distilled once; see `during`."""
    from fractionkit.planning.during_words import told, why_impossible

    _check(readings, since)
    _check_mass(running, readings)
    sheet, target = running.sheet, running.scenarios.feed.target
    log_weight, surprise, bias = _weigh(running, readings)
    found = During(
        title=sheet.title,
        source=str(sheet.source),
        setup=running.setup.name,
        reflux=running.reflux,
        components=running.scenarios.feed.components,
        target=target.component,
        purity=target.purity,
        confidence=target.confidence,
        readings=tuple(readings),
        since=since,
        surprise=surprise,
        effective=_effective(log_weight),
        impossible="",
    )
    if surprise < IMPOSSIBLE:
        heads = running.curve.head_at(_masses(running, readings))[:, -1] + bias.before
        found = replace(found, impossible=why_impossible(found, float(heads.min()), float(heads.max())))
        return replace(found, text=(found.impossible,))
    return told(_answer(running, found, log_weight, bias))


def _chosen(sheet: StillSheet, name: str | None, reflux: float | None) -> tuple[SetUp, float]:
    """The set-up that is running, and its reflux ratio."""
    known = setups_of(sheet)
    if name is None and len(known) > 1:
        names = ", ".join(f'"{setup.name}"' for setup in known)
        raise InputError(Fault(None, f"which set-up is running, one of {names}", str(sheet.source), column="--setup"))
    match = [s for s in known if name is None or s.name.casefold() == name.casefold()]
    if not match:
        names = [setup.name for setup in known]
        expected = f"a set-up of the plan: {', '.join(names)}{nearest(name or '', names)}"
        raise InputError(Fault(name, expected, str(sheet.source), column="--setup"))
    chosen = match[0]
    if reflux is None and len(chosen.reflux) > 1:
        ratios = ", ".join(f"{ratio:g}" for ratio in chosen.reflux)
        expected = f"the reflux ratio that is running, like {chosen.reflux[0]:g} (the plan compares {ratios})"
        raise InputError(Fault(None, expected, str(sheet.source), column="--reflux"))
    ratio = chosen.reflux[0] if reflux is None else reflux
    if not 0.0 <= ratio <= 1000.0:
        raise InputError(Fault(f"{ratio:g}", "a reflux ratio from 0 to 1000", column="--reflux"))
    return chosen, ratio


def _check(readings: Sequence[BenchReading], since: float) -> None:
    faults = []
    if not readings:
        faults.append(Fault(None, 'a reading: --head "88.2 degC" --collected "310 g", or a log of them'))
    for before, after in zip(readings, readings[1:], strict=False):
        if after.collected < before.collected:
            expected = f"a mass not below the {1e3 * before.collected:g} g collected before"
            faults.append(Fault(f"{1e3 * after.collected:g} g", expected, row=after.row, column="collected"))
    if readings and since > readings[-1].collected:
        expected = f"at most the {1e3 * readings[-1].collected:g} g collected so far"
        faults.append(Fault(f"{1e3 * since:g} g", expected, column="--receiver-since"))
    if faults:
        raise InputError(faults)


def _check_mass(running: Started, readings: Sequence[BenchReading]) -> None:
    most, last = float(running.curve.end.max()), readings[-1]
    if last.collected > most:
        expected = f"at most the {1e3 * most:.0f} g that can come over from this charge"
        raise InputError(Fault(f"{1e3 * last.collected:g} g", expected, row=last.row, column="collected"))


def _run(sheet: StillSheet, setup: SetUp, reflux: float, count: int) -> Started:
    """Distil the scenarios of the plan with one set-up; the reflux wavers about what was set."""
    scenarios = scenarios_of(sheet, count)
    reason = hindrance(scenarios, Wish(setup, reflux), sheet.still)
    if reason:
        raise InputError(Fault(setup.name, f"a set-up that can be run: {reason}", str(sheet.source), column="--setup"))
    rng = np.random.default_rng(20240607)
    ratio = reflux * np.exp(REFLUX_U * rng.permutation(_normal(count)))
    stages, held = scenarios.stages(setup), scenarios.holdup(setup)
    moles = scenarios.moles
    total = moles.sum(axis=1)
    heel = HEEL * total if sheet.still.heel is None else sheet.still.heel / scenarios.molar_volume()
    alone = stages <= 1.0
    made = distil(
        scenarios.volatility,
        moles,
        stages,
        ratio,
        scenarios.pressure,
        distilled=np.clip(1.0 - (held + heel) / total, 0.02, 0.99),
        column_holdup=np.where(alone, 0.0, held),
        condenser_holdup=np.where(alone, held, 0.0),
        tolerance=TOLERANCE,
        points=2,
    )
    curve = collected(made)
    return Started(
        sheet, scenarios, setup, reflux, curve, _times(made, scenarios, setup, sheet), held / total * curve.charge.sum(axis=1),
        stages,
    )  # fmt: skip


def _times(made: Distillation, scenarios: Scenarios, setup: SetUp, sheet: StillSheet) -> Course:
    return course(made, rates(scenarios, setup, sheet.still))


def _normal(count: int) -> Array:
    """Standard normal quantiles (count,), even in probability."""
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(count) + 0.5) / count))


@dataclass(frozen=True)
class _Bias:
    """What the thermometer shows above the truth, K: mean and u before; mean (S,) and u after the readings."""

    before: float
    before_u: float
    after: Array
    after_u: float


def _masses(running: Started, readings: Sequence[BenchReading]) -> Array:
    at = np.array([reading.collected for reading in readings])
    return np.broadcast_to(at, (running.scenarios.count, len(at)))


def _weigh(running: Started, readings: Sequence[BenchReading]) -> tuple[Array, float, _Bias]:
    """Log weights (S,) of the scenarios, probability of readings as far off, and the thermometer's bias.

    Given a scenario the readings scatter about its head temperature with covariance diag(v) + u^2 11', v what is fresh
    in each (repeatability; the lag times the slope of the head temperature), u of the bias.
    """
    masses = _masses(running, readings)
    lag = LAG * running.curve.charge.sum(axis=1, keepdims=True)
    end = running.curve.end[:, None]
    low, high = np.clip(masses - lag, 0.0, end), np.clip(masses + lag, 0.0, end)
    rise = running.curve.head_at(high) - running.curve.head_at(low)
    slope = rise / np.maximum(high - low, 1e-9) * lag
    typed = running.sheet.thermometer.repeat
    repeat = REPEAT if typed is None else typed
    fresh = repeat**2 + slope**2
    shift, u = float(running.scenarios.reading.mean()), float(running.scenarios.reading.std())
    shown = np.array([reading.head for reading in readings])
    off = shown - running.curve.head_at(masses) - shift
    weight = 1.0 / fresh
    precision = weight.sum(axis=1) + (1.0 / u**2 if u > 0.0 else np.inf)
    common = (weight * off).sum(axis=1) / precision
    misfit = (weight * off**2).sum(axis=1) - common**2 * precision if u > 0.0 else (weight * off**2).sum(axis=1)
    log_det = np.log(fresh).sum(axis=1) + (np.log1p(u**2 * weight.sum(axis=1)) if u > 0.0 else 0.0)
    common = common if u > 0.0 else np.zeros_like(common)
    after_u = float(np.median(np.sqrt(1.0 / precision))) if u > 0.0 else 0.0
    log_weight = -0.5 * misfit - 0.5 * log_det
    # collected more than a scenario yields: that scenario is out
    beyond = masses[:, -1] > running.curve.end * (1.0 + 1e-9)
    log_weight = np.where(beyond, -np.inf, log_weight)
    least = float(np.min(np.where(beyond, np.inf, misfit)))
    surprise = chi_square_tail(len(readings), least) if np.isfinite(least) else 0.0
    return log_weight, surprise, _Bias(shift, u, shift + common, after_u)


def _effective(log_weight: Array) -> float:
    weight = np.exp(log_weight - log_weight.max())
    return float(weight.sum() ** 2 / (weight**2).sum())


def _answer(running: Started, found: During, log_weight: Array, bias: _Bias) -> tuple[During, Array]:
    """Everything that is said, from equally weighted draws of the scenarios; with the draws of what comes over now."""
    rng = np.random.default_rng(20240609)
    weight = np.exp(log_weight - log_weight.max())
    picked = pick_samples(weight, DRAWS, rng)
    error = bias.after[picked] + bias.after_u * rng.permutation(_normal(DRAWS))
    curve = _taken(running.curve, picked, error)
    now = np.full((DRAWS, 1), found.readings[-1].collected)
    start = np.full((DRAWS, 1), found.since)
    over = curve.at_mass(now)[:, 0]
    inside = over - curve.at_mass(start)[:, 0]
    step = 0.001 * curve.charge.sum(axis=1, keepdims=True)
    coming = curve.at_mass(np.minimum(now + step, curve.end[:, None]))[:, 0] - curve.at_mass(np.maximum(now - step, 0.0))[:, 0]
    place = running.scenarios.component
    mass = inside.sum(axis=1)
    meets = None
    if found.readings[-1].collected > found.since:
        meets = float((inside[:, place] >= found.purity * mass).mean())
    made = replace(
        found,
        reading_error=estimate(error),
        stages=estimate(running.stages[picked]),
        receiver=mixed(inside) if found.readings[-1].collected > found.since else None,
        coming=fractions(coming),
        left=mixed(curve.charge - over),
        meets=meets,
        change=_change(running, curve, picked, found, place),
    )
    return made, _unit(coming)


def _taken(curve: Collected, picked: NDArray[np.intp], error: Array) -> Collected:
    """Scenarios ``picked`` (D,) as the thermometer shows them."""
    return Collected(
        curve.mass[picked], curve.amounts[picked], curve.rate[picked], curve.head[picked] + error[:, None],
        curve.charge[picked], curve.end[picked],
    )  # fmt: skip


def mixed(amounts: Array) -> Mixed:
    """Mass and mass fractions of amounts (D, n) kg."""
    return Mixed(estimate(amounts.sum(axis=1)), fractions(amounts))


def fractions(amounts: Array) -> tuple[Estimate, ...]:
    """Mass fractions of amounts (D, n)."""
    w = _unit(amounts)
    return tuple(estimate(w[:, i]) for i in range(w.shape[1]))


def _unit(amounts: Array) -> Array:
    safe = np.maximum(amounts, 0.0) + 1e-15
    return np.asarray(safe / safe.sum(axis=1, keepdims=True))


def _change(
    running: Started, curve: Collected, picked: NDArray[np.intp], found: During, place: int
) -> Change:
    """The next change of receivers: the present one kept on as the heart, or a later heart, whichever keeps more."""
    options = []
    kinds: tuple[By, ...] = ("head", "mass")
    for by in kinds:
        marks = _marks(curve, found.readings[-1], by)
        at = curve.masses(marks, by)
        at = np.maximum(at, found.readings[-1].collected)  # a head that has passed a mark already: at once
        at = np.minimum(at, curve.end[:, None])
        amounts = curve.at_mass(np.maximum.accumulate(at, axis=1))
        options += _hearts(curve, found, place, by, marks, amounts, at)
    if not options:
        return _none(curve, found)
    best = max(options, key=lambda option: option.kept)
    when = best.at[:, best.first if best.starts else best.last]
    head = curve.head_at(when[:, None])[:, 0]
    ahead = when - found.readings[-1].collected
    minutes = _minutes(running, picked, found.readings[-1].collected, when)
    return Change(
        what="start of the heart" if best.starts else "end of the heart",
        by=best.by,
        at=float(best.marks[best.first if best.starts else best.last]),
        head=estimate(head),
        collected=estimate(when),
        ahead=estimate(ahead),
        minutes=minutes,
        heart=mixed(best.heart),
        probability=best.probability,
    )


@dataclass(frozen=True)
class _Option:
    """One heart: whether it starts later (``starts``) or is the present receiver, between marks ``first`` and ``last``."""

    by: By
    starts: bool
    first: int
    last: int
    marks: Array
    at: Array
    heart: Array
    kept: float
    probability: float


def _marks(curve: Collected, last: BenchReading, by: By) -> Array:
    """Marks (G,) from now on, by mass or by head temperature."""
    if by == "mass":
        return np.linspace(last.collected, float(curve.end.max()), MARKS)
    now = curve.head_at(np.full((len(curve.mass), 1), last.collected))
    steps = np.linspace(last.collected, float(np.median(curve.end)), MARKS)
    heads = np.quantile(np.maximum.accumulate(curve.head_at(np.broadcast_to(steps, (len(curve.mass), MARKS))), axis=1), 0.5, axis=0)
    rising = np.union1d(heads, np.linspace(float(now.mean()), float(curve.head[:, -1].max()), MARKS // 2))
    return rising[rising >= float(now.mean())]


def _hearts(
    curve: Collected, found: During, place: int, by: By, marks: Array, amounts: Array, at: Array
) -> list[_Option]:
    """The heaviest heart from the present receiver on, and the heaviest that starts later, by one kind of mark."""
    least = 1e-3 * curve.charge.sum(axis=1)
    start = curve.at_mass(np.full((len(curve.mass), 1), found.since))
    options = []
    continued = amounts - start
    mass = continued.sum(axis=-1)
    good = guarded((continued[..., place] - found.purity * mass).T, found.confidence) >= 0.0
    kept = np.where(good, mass.mean(axis=0), 0.0)
    last = int(kept.argmax())
    if kept[last] > least.mean():
        options.append(_option(curve, found, place, by, False, 0, last, marks, at, continued[:, last]))
    first, end = np.triu_indices(len(marks), 1)
    total = amounts.sum(axis=-1)
    # what is there of the target beyond what the purity asks for: a receiver meets it where its ends differ by 0 or more
    excess = np.ascontiguousarray((amounts[..., place] - found.purity * total).T)
    mean = total.mean(axis=0)[end] - total.mean(axis=0)[first]
    good = (guarded(excess[end] - excess[first], found.confidence) >= 0.0) & (mean > least.mean())
    if good.any():
        pair = int(np.where(good, mean, 0.0).argmax())
        a, b = int(first[pair]), int(end[pair])
        options.append(_option(curve, found, place, by, True, a, b, marks, at, amounts[:, b] - amounts[:, a]))
    return options


def _option(
    curve: Collected, found: During, place: int, by: By, starts: bool, first: int, last: int, marks: Array, at: Array,
    heart: Array,
) -> _Option:  # fmt: skip
    mass = heart.sum(axis=1)
    meets = float((heart[:, place] >= found.purity * mass - 1e-12).mean())
    return _Option(by, starts, first, last, marks, at, heart, float(mass.mean()), meets)


def _none(curve: Collected, found: During) -> Change:
    """No receiver from now on meets the target."""
    end = curve.end
    return Change(
        "none", "mass", float(np.median(end)), estimate(curve.head_at(end[:, None])[:, 0]), estimate(end),
        estimate(end - found.readings[-1].collected), None, None, 0.0,
    )  # fmt: skip


def _minutes(running: Started, picked: NDArray[np.intp], now: float, when: Array) -> Estimate | None:
    times = running.times
    if not np.all(np.isfinite(times.time)):
        return None
    some = Course(times.mass[picked], times.time[picked], times.heat[picked])
    begun, _ = some.at(np.full(len(picked), now))
    reached, _ = some.at(when)
    return estimate(np.maximum(reached - begun, 0.0) / 60.0)
