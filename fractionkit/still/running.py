"""The distillation run through: reflux constant, stepped or steered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fractionkit.errors import Fault, InputError
from fractionkit.still import start
from fractionkit.still.checks import Setting
from fractionkit.still.column import Column
from fractionkit.still.control import Control
from fractionkit.still.equilibrium import Array
from fractionkit.still.policy import RefluxPolicy, Steered, Stepped
from fractionkit.still.record import Index, Record
from fractionkit.still.rosenbrock import Step, advance
from fractionkit.still.state import Flags, State

FIRST_STEP = 1e-4
"""First step in parts of the charge; the control takes over at once."""

ON_TARGET = 1e-7
"""Deviation of the distillate taken for none."""

FEW, LEAST = 0.8, 32
"""Part of the scenarios below which those that arrived are left behind, and the number from which on that pays."""

PROPORTIONAL = 100.0
"""Reflux per unit deviation of the distillate and unit R + 1, with hold-up; common practice, no source."""

RESET = 0.1
"""Integral time of the reflux in parts of the hold-up distilled; common practice, no source."""


def run(column: Column, record: Record, setting: Setting, policy: RefluxPolicy, tolerance: float, rate: Array) -> Flags:
    """Integrate through all settings of the reflux; return which scenarios came to their end (S,).

    ``rate`` (S,) is the boil-up in parts of the charge per second, for a reflux that changes by time.
    """
    s = start.start_up(column, setting.moles / setting.total[:, None])
    S = len(setting.total)
    D, h = np.zeros(S), np.full(S, FIRST_STEP)
    if isinstance(policy, Steered):
        return _steered(column, record, s, policy, setting.distilled, tolerance)

    for end, R in _segments(policy, setting.distilled, rate):
        s = start.settle(column, s.at(R))
        record.point(s, D, np.ones(S, dtype=bool))
        s, h = _through(column, record, s, D, end, np.minimum(h, FIRST_STEP), tolerance)
        D = end
    return np.ones(S, dtype=bool)


def _through(
    column: Column, record: Record, s: State, D: Array, end: Array, h: Array, tolerance: float
) -> tuple[State, Array]:
    """Integrate to the ``end`` at a given reflux, leaving those that arrived behind; return state and next step."""
    divisible = hasattr(column.mixture, "take")
    each = np.arange(len(D))
    s, h = s.at(s.R), h.copy()
    some, at, to, steps = s, D, end, h
    while len(each):

        def observe(step: Step, each: Index = each) -> Flags:
            record.step(step, each)
            return np.zeros(len(each), dtype=bool)

        few = FEW if divisible and len(each) > LEAST else 0.0
        some, at, steps = advance(column, some, at, to, steps, tolerance, observe, few)
        s.u[:, each], s.R[each], h[each] = some.u, some.R, steps
        going = np.flatnonzero(at < to)
        each, some, at, to, steps = each[going], some.take(going), at[going], to[going], steps[going]
        if len(each):
            column = column.take(going)
    return s, h


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
    held = column.holdup.sum(axis=0)[:, 0] + column.condenser[:, 0]
    if np.all(held > 0.0):
        hopeless = (miss < -ON_TARGET) & (s.c[:, policy.component] < target)
        return _controlled(column, record, s.at(quasi.R), policy, distilled, tolerance, held, hopeless)
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
    column: Column,
    record: Record,
    s: State,
    policy: Steered,
    distilled: Array,
    tolerance: float,
    held: Array,
    hopeless: Flags,
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
    D, over = np.zeros(S), hopeless.copy()
    record.point(s, D, np.ones(S, dtype=bool))

    def observe(step: Step) -> Flags:
        record.step(step)
        spent = step.good & (control.reflux(step.after) >= policy.at_most)
        over[spent] = True
        return spent

    advance(column, s, D, np.where(over, D, distilled), np.full(S, FIRST_STEP), tolerance, observe)
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
