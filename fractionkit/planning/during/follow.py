"""Help during the run: the scenarios of a plan, weighted by what the head thermometer shows at what has come over.

Every scenario of the plan says what the head would read when so much has been collected. Readings weight the scenarios
(the thermometer's bias, which repeats, is integrated out), so the answer sharpens with every one. Where none of the
scenarios comes near, the plan does not describe this run, and that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.inference.importance import tempering
from fractionkit.inference.summary import pick_samples
from fractionkit.inference.tail import chi_square_tail
from fractionkit.planning.begin import refuse_hindered
from fractionkit.planning.cutting.curve import Collected, collected
from fractionkit.planning.during.change import fractions, mixed, next_change
from fractionkit.planning.during.model import BenchReading, During
from fractionkit.planning.running_costs import Course, course
from fractionkit.planning.scenarios import Scenarios, scenarios_of
from fractionkit.planning.setups import SetUp, setups_of
from fractionkit.planning.trial import Wish, estimate, rates, run_through
from fractionkit.sheets.faults import nearest
from fractionkit.sheets.still_model import StillSheet

Array = NDArray[np.float64]

COUNT, MANY = 400, 1000
"""Scenarios at first, and where too few of those carry the answer."""

ENOUGH = 30.0
"""Effective scenarios that carry an answer. Where even the many leave fewer, the readings count for less until so many
stand: intervals are then wider than the readings allow, not narrower."""
DRAWS = 300
REPEAT = 0.15
"""K, fresh in each reading, where the sheet does not say; a thermometer read to half a degree (common practice)."""

LAG = 0.003
"""Standard deviation, in parts of the charge, of the mass to which a reading belongs: drops under way, a thermometer
that follows late (common practice, no source)."""

REFLUX_U = 0.1
"""Relative standard uncertainty of a reflux ratio set at the bench (common practice, no source)."""

IMPOSSIBLE, DOUBTFUL = 1e-3, 0.02
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
    sheet
        The plan.
    readings
        What was seen, the last one being now.
    since
        Kilograms collected in all when the present receiver was set under.
    setup, reflux
        Which of the plan's set-ups is running; needed where it has several.

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


def start(sheet: StillSheet, *, setup: str | None = None, reflux: float | None = None, count: int = COUNT) -> Started:
    """Distil the scenarios of a plan, to be followed with one reading after the other; see `during`."""
    chosen, ratio = _chosen(sheet, setup, reflux)
    return _run(sheet, chosen, ratio, count)


def follow(running: Started, readings: Sequence[BenchReading], *, since: float = 0.0) -> During:
    """Where a distillation stands, from scenarios that were distilled once; see `during`."""
    from fractionkit.planning.during.words import told, why_impossible

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
        listed = ", ".join(f'"{setup.name}"' for setup in known)
        raise InputError(Fault(None, f"which set-up is running, one of {listed}", str(sheet.source), column="--setup"))
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
    for before, after in pairwise(readings):
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
    refuse_hindered(sheet, scenarios, Wish(setup, reflux), "--setup")
    rng = np.random.default_rng(20240607)
    ratio = reflux * np.exp(REFLUX_U * rng.permutation(_normal(count)))
    stages, held = scenarios.stages(setup), scenarios.holdup(setup)
    total = scenarios.moles.sum(axis=1)
    heel = HEEL * total if sheet.still.heel is None else sheet.still.heel / scenarios.molar_volume()
    part = np.clip(1.0 - (held + heel) / total, 0.02, 0.99)
    made = run_through(scenarios, stages, ratio, held, part, np.arange(count), tolerance=TOLERANCE)
    curve = collected(made)
    times = course(made, rates(scenarios, setup, sheet.still))
    return Started(sheet, scenarios, setup, reflux, curve, times, held / total * curve.charge.sum(axis=1), stages)


def _normal(count: int) -> Array:
    """Standard normal quantiles (count,), even in probability."""
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(count) + 0.5) / count))


@dataclass(frozen=True)
class _Bias:
    """What the thermometer shows above the truth, K: mean before; mean (S,) and u after the readings."""

    before: float
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
    return log_weight, surprise, _Bias(shift, shift + common, after_u)


def _effective(log_weight: Array) -> float:
    weight = np.exp(log_weight - log_weight.max())
    return float(weight.sum() ** 2 / (weight**2).sum())


def _tempered(log_weight: Array) -> Array:
    """Log weights, tempered where fewer than `ENOUGH` effective scenarios would stand."""
    log_weight = log_weight - log_weight.max()
    return log_weight if _effective(log_weight) >= ENOUGH else tempering(log_weight, ENOUGH) * log_weight


def _answer(running: Started, found: During, log_weight: Array, bias: _Bias) -> During:
    """Everything that is said, from equally weighted draws of the scenarios."""
    rng = np.random.default_rng(20240609)
    picked = pick_samples(np.exp(_tempered(log_weight)), DRAWS, rng)
    error = bias.after[picked] + bias.after_u * rng.permutation(_normal(DRAWS))
    curve = running.curve.take(picked)
    curve = replace(curve, head=curve.head + error[:, None])
    now = np.full((DRAWS, 1), found.readings[-1].collected)
    start = np.full((DRAWS, 1), found.since)
    over = curve.at_mass(now)[:, 0]
    inside = over - curve.at_mass(start)[:, 0]
    step = 0.001 * curve.charge.sum(axis=1, keepdims=True)
    coming = (
        curve.at_mass(np.minimum(now + step, curve.end[:, None]))[:, 0]
        - curve.at_mass(np.maximum(now - step, 0.0))[:, 0]
    )
    place = running.scenarios.component
    mass = inside.sum(axis=1)
    begun = found.readings[-1].collected > found.since
    return replace(
        found,
        reading_error=estimate(error),
        stages=estimate(running.stages[picked]),
        receiver=mixed(inside) if begun else None,
        coming=fractions(coming),
        left=mixed(curve.charge - over),
        meets=float((inside[:, place] >= found.purity * mass).mean()) if begun else None,
        change=next_change(running.times, curve, picked, found, place),
    )
