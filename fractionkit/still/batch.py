"""`distil`: a batch distillation, differential or with a column, one or hundreds of scenarios together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still import checks, start
from fractionkit.still.column import Column
from fractionkit.still.control import Control
from fractionkit.still.energy import finish, latent_heats_of
from fractionkit.still.equilibrium import Array, Equilibrium, LatentScaled
from fractionkit.still.fitted import FittedVolatility
from fractionkit.still.policy import Charge, RefluxPolicy, Steered, Stepped
from fractionkit.still.record import Record
from fractionkit.still.result import Distillation
from fractionkit.still.rosenbrock import Step, advance
from fractionkit.still.state import Flags, State

FIRST_STEP = 1e-3
"""First step in parts of the charge; the control takes over at once."""

FITTED = (2, 3, 4)
"""Numbers of components for which a fit pays."""

ON_TARGET = 1e-7
"""Deviation of the distillate taken for none."""

FIT = 0.5
"""Largest error of fitted vapour fractions, in parts of the tolerance."""

PROPORTIONAL = 100.0
"""Reflux per unit deviation of the distillate and unit R + 1, with hold-up; common practice, no source."""

RESET = 0.1
"""Integral time of the reflux in parts of the hold-up distilled; common practice, no source."""


def distil(
    mixture: Equilibrium,
    charge: Charge | ArrayLike,
    stages: ArrayLike,
    reflux_ratio: RefluxPolicy,
    pressure: ArrayLike,
    *,
    distilled: ArrayLike | None = None,
    column_holdup: ArrayLike = 0.0,
    condenser_holdup: ArrayLike = 0.0,
    overflow: Literal["molar", "latent"] = "molar",
    latent_heats: ArrayLike | None = None,
    boilup: float | None = None,
    heater_power: float | None = None,
    tolerance: float = 1e-3,
    points: int = 4,
    quick: bool = True,
) -> Distillation:
    """Distil a charge in batch.

    Theoretical stages, the pot counting as one; total condenser; constant molar overflow. ``stages=1`` is differential
    (Rayleigh) distillation whatever the reflux. Without hold-up the column is at every moment in steady state with the
    pot; with hold-up it starts from steady total reflux of the whole charge. Seader, Henley & Roper, Separation Process
    Principles, 3rd ed., chapter 13 (equations 13-2, 13-5 and 13-29 to 13-34; numbers from memory).

    S scenarios advance together: any of charge, stages, reflux ratio, pressure, distilled and hold-ups may have a
    leading axis S, and so may what the mixture holds inside, as long as its ``bubble_point`` accepts (..., S, n).

    Parameters
    ----------
    mixture : Equilibrium
        Anything with ``bubble_point(x, pressure) -> (T, y)``: Mixture, ConstantVolatility, TabulatedVolatility.
    charge : Charge or (n,) or (S, n)
        `Charge`, or moles of each component.
    stages : number or (S,)
        1 or more. A fraction makes the top stage work in part: 4.5 has a fifth stage of half the effect.
    reflux_ratio : number or (S,), Stepped, Steered
        L/D, reflux over distillate.
    pressure : number or (S,)
        Pa.
    distilled : number or (S,)
        Part of the charge (moles) to distil; hold-up does not come over, so it is less than 1 - hold-up / charge. Left
        out, 0.95 of that.
    column_holdup : number or (S,)
        Moles of liquid on all stages above the pot together, the same constant amount on each.
    condenser_holdup : number or (S,)
        Moles of liquid in condenser and reflux line.
    overflow : "molar" or "latent"
        ``"latent"`` makes the flows vary with the latent heats; then ``distilled``, hold-ups and `Stepped` count moles
        by latent heat (n_i h_i / mean h of the charge).
    latent_heats : (n,)
        J/mol; taken from the mixture's substances where it has them.
    boilup : number
        mol/s leaving the pot; gives times.
    heater_power : number
        W that go into the vapour; gives times too.
    tolerance : number
        Largest local error of an amount, in parts of the charge, and of a mole fraction. What the answer moves by when
        it is tightened is less.
    points : number
        Points noted a step.
    quick : bool
        Compute with polynomials fitted to the mixture's volatilities (`FittedVolatility`) where they agree with it to
        half the tolerance; temperatures come from the mixture itself in any case. False: always its bubble point.

    Raises
    ------
    InputError
        for anything impossible, all faults at once; for a steered reflux whose target no scenario reaches.
    ConvergenceError
        if the equations cannot be followed; not expected.
    """
    moles, single = checks.charge_moles(mixture, charge)
    heats = latent_heats_of(mixture, latent_heats, moles.shape[-1])
    setting = checks.setting(
        moles, stages, reflux_ratio, pressure, distilled, column_holdup, condenser_holdup, single=single
    )
    checks.options(overflow, heats, boilup, heater_power, tolerance, points, reflux_ratio)
    moles, total = setting.moles, setting.total
    reference = 1.0
    equilibrium: Equilibrium
    if overflow == "latent" and heats is not None:
        reference = float((moles * heats).sum() / moles.sum())
        equilibrium = LatentScaled(_quick(mixture, setting, tolerance) if quick else mixture, heats, reference)
        moles = moles * heats / reference
        total = moles.sum(axis=-1)
    else:
        equilibrium = _quick(mixture, setting, tolerance) if quick else mixture
    column = _column(equilibrium, setting, total)
    record = Record(column, setting.top, points)
    rate = boilup if boilup is not None else (heater_power or np.nan) / reference
    finished = _run(column, record, moles / total[:, None], reflux_ratio, setting, tolerance, rate / total)
    return finish(
        mixture, record.arrays(), setting, heats, finished,
        scale=reference / heats if overflow == "latent" and heats is not None else None,
        total=total, boilup=boilup, heater_power=heater_power,
    )  # fmt: skip


def _quick(mixture: Equilibrium, setting: checks.Setting, tolerance: float) -> Equilibrium:
    """Return a fit of the mixture that is close enough, else the mixture; one pressure only, so that one fit serves."""
    plain = hasattr(mixture, "vapour_slope") or getattr(mixture, "n", 0) not in FITTED
    if plain or np.any(setting.pressure != setting.pressure[0]):
        return mixture
    fitted = FittedVolatility(mixture, float(setting.pressure[0]), goal=FIT * tolerance)
    return fitted if fitted.error_y <= FIT * tolerance else mixture


def _column(equilibrium: Equilibrium, setting: checks.Setting, total: Array) -> Column:
    levels = int(np.ceil(setting.stages.max() - 1e-9))
    efficiency = np.clip(setting.stages - np.arange(levels)[:, None], 0.0, 1.0)
    working = efficiency[1:] > 0.0
    each = setting.column_holdup / total / np.maximum(working.sum(axis=0), 1)
    return Column(
        equilibrium,
        setting.pressure,
        efficiency[..., None],
        (working * each)[..., None],
        (setting.condenser_holdup / total)[:, None],
    )


def _run(
    column: Column,
    record: Record,
    feed: Array,
    policy: RefluxPolicy,
    setting: checks.Setting,
    tolerance: float,
    rate: Array,
) -> Flags:
    """Integrate through all settings of the reflux; return which scenarios came to their end (S,)."""
    s = start.start_up(column, feed)
    S = len(feed)
    D, h = np.zeros(S), np.full(S, FIRST_STEP)
    if isinstance(policy, Steered):
        return _steered(column, record, s, policy, setting.distilled, tolerance)

    def observe(step: Step) -> Flags:
        record.step(step)
        return np.zeros(S, dtype=bool)

    for end, R in _segments(policy, setting.distilled, rate):
        s = start.settle(column, s.at(R))
        record.point(s, D, np.ones(S, dtype=bool))
        s, D, h = advance(column, s, D, end, np.minimum(h, FIRST_STEP), tolerance, observe)
    return np.ones(S, dtype=bool)


def _segments(policy: RefluxPolicy, distilled: Array, rate: Array) -> Iterator[tuple[Array, Array]]:
    """Yield where each reflux ratio ends, in parts of the charge, and the ratio, both (S,)."""
    if not isinstance(policy, Stepped):
        yield distilled, np.broadcast_to(np.asarray(policy, dtype=np.float64), distilled.shape)
        return
    before, D = 0.0, np.zeros_like(distilled)
    for ratio, until in zip(policy.ratios, [*policy.until, np.inf], strict=True):
        if until == np.inf:
            D = distilled
        elif policy.by == "time":
            D = np.minimum(D + rate * (until - before) / (ratio + 1.0), distilled)
        else:
            D = np.minimum(until, distilled)
        before = until
        yield D, np.full_like(distilled, ratio)


def _steered(column: Column, record: Record, s: State, policy: Steered, distilled: Array, tolerance: float) -> Flags:
    """Hold the distillate; return which scenarios came to their end (S,)."""
    S = len(s.R)
    target = np.full(S, policy.target)
    free = replace(column, holdup=np.zeros_like(column.holdup), condenser=np.zeros_like(column.condenser))
    quasi, miss = start.steer_reflux(free, s, policy.component, target, policy.at_least, policy.at_most)
    if np.all(miss < -ON_TARGET):
        best = float((miss + target).max())
        raise InputError(
            Fault(
                f"{policy.target:g}", f"at most {best:.4g}, all that reflux {policy.at_most:g} gives", column="target"
            )
        )
    held = column.holdup.sum(axis=0)[:, 0] + column.condenser[:, 0]
    if np.all(held > 0.0):
        return _controlled(column, record, s.at(quasi.R), policy, distilled, tolerance, held)
    if np.any(held > 0.0):
        raise InputError(
            Fault(None, "hold-up in all scenarios or in none, to steer the reflux", column="column_holdup")
        )
    s, over, steady = quasi, miss < -ON_TARGET, miss > ON_TARGET
    D, h = np.zeros(S), np.full(S, FIRST_STEP)
    record.point(s, D, np.ones(S, dtype=bool))
    zero = np.zeros(S)
    while True:
        control = Control(policy.component, target, zero, zero, steady, policy.at_least, policy.at_most, delayed=False)
        watch = _Watch(record, policy, target, steady, over)
        end = np.where(over, D, distilled)
        s, D, h = advance(replace(column, control=control), s, D, end, np.minimum(h, FIRST_STEP), tolerance, watch)
        if not np.any(watch.crossed):
            return ~over
        # a scenario that crossed goes over between held and steered, its profile made consistent
        quasi, miss = start.steer_reflux(column, s, policy.component, target, policy.at_least, policy.at_most)
        s = State.of(s.m, quasi.x, quasi.c, quasi.R).where(watch.crossed, s)
        steady = np.where(watch.crossed, miss > ON_TARGET, steady)
        over |= watch.crossed & (miss < -ON_TARGET)


def _controlled(
    column: Column, record: Record, s: State, policy: Steered, distilled: Array, tolerance: float, held: Array
) -> Flags:
    """Hold the distillate by proportional-integral action, since hold-up delays what the reflux does."""
    S = len(s.R)
    proportional = PROPORTIONAL * (s.R + 1.0)
    control = Control(
        component=policy.component,
        target=np.full(S, policy.target),
        proportional=proportional,
        integral=proportional / (RESET * held),
        held=np.zeros(S, dtype=bool),
        low=policy.at_least,
        high=policy.at_most,
        delayed=True,
    )
    column = replace(column, control=control)
    record.follow(column)
    s = start.settle(column, s)
    D, over = np.zeros(S), np.zeros(S, dtype=bool)
    record.point(s, D, np.ones(S, dtype=bool))

    def observe(step: Step) -> Flags:
        record.step(step)
        spent = step.good & (control.reflux(step.after) >= policy.at_most)
        over[spent] = True
        return spent

    advance(column, s, D, distilled, np.full(S, FIRST_STEP), tolerance, observe)
    return ~over


class _Watch:
    """Notes the steps of an exactly steered reflux, and stops scenarios that reach a bound or leave the lower one."""

    def __init__(self, record: Record, policy: Steered, target: Array, held: Flags, over: Flags) -> None:
        self._record, self._policy, self._target, self._held, self._over = record, policy, target, held, over
        self.crossed = np.zeros(len(held), dtype=bool)

    def __call__(self, step: Step) -> Flags:
        self._record.step(step)
        low, high = self._policy.at_least, self._policy.at_most
        reflux, x = step.after.R, step.after.c[:, self._policy.component]
        spent = step.good & (reflux >= high)
        self._over[spent] = True
        turned = step.good & np.where(self._held, x <= self._target, reflux < low)
        self.crossed |= turned
        return np.asarray(spent | turned)
