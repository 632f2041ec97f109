"""The column's first state: total reflux with the charge spread over pot and hold-up; profiles at given reflux."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fractionkit.errors import ConvergenceError
from fractionkit.still.column import TRACE, Column, part_of_stage
from fractionkit.still.elimination import Elimination
from fractionkit.still.equilibrium import Array, unit, vapour_over
from fractionkit.still.state import State

CLOSED = 1e-13
"""Largest imbalance left by the iterations, in mole fraction or in parts of the charge."""

STALLED = 1e-9
"""Imbalance that is accepted where it no longer falls: rounding in many stages at high reflux."""

FIXED = 1e30
"""Hold-up that keeps a row where it is while the algebraic rows are solved."""


def total_reflux(column: Column, m: Array) -> State:
    """Profile over pots ``m`` (S, n) when nothing is taken off: the liquid above a stage equals its vapour."""
    n_stages = len(column.efficiency)
    liquid = unit(m)
    levels = []
    for j in range(n_stages):
        levels.append(liquid)
        y = vapour_over(column.mixture, liquid, column.pressure)
        present = np.maximum(liquid, TRACE)
        liquid = unit(part_of_stage(present, np.maximum(y, TRACE), column.efficiency[j]) * (liquid > 0.0))
    x = np.stack(levels[1:]) if n_stages > 1 else np.empty((0, *m.shape))
    return State.of(m, x, liquid, np.zeros(len(m)))


def held_up(column: Column, s: State) -> Array:
    """Moles of each component (S, n) on the stages and in the condenser."""
    return np.asarray((column.holdup * s.x).sum(axis=0) + column.condenser * s.c)


def start_up(column: Column, charge: Array) -> State:
    """Steady total reflux with ``charge`` (S, n) shared between pot, stages and condenser.

    The pot amounts are found by scaling each component by charge / (pot + hold-up), which keeps them positive; the
    scaling is damped where it turns back.
    """
    held = column.holdup.sum(axis=0) + column.condenser
    m = charge * (1.0 - held)
    s = total_reflux(column, m)
    if not np.any(held > 0.0):
        return s
    present = charge > 0.0
    power = np.ones_like(held)
    before = np.zeros_like(charge)
    for _ in range(500):
        ratio = np.where(present, charge / np.where(present, m + held_up(column, s), 1.0), 1.0)
        change = np.log(ratio)
        if np.max(np.abs(ratio - 1.0) * charge) < CLOSED:
            # the pot takes the last rounding, so that the charge is met exactly
            s.u[0] = np.maximum(charge - held_up(column, s), 0.0)
            return s
        turned = (change * before).sum(axis=-1, keepdims=True) < 0.0
        power = np.where(turned, np.maximum(0.5 * power, 0.05), np.minimum(1.1 * power, 1.0))
        before = change
        m = m * np.exp(power * change)
        m = unit(m) * (1.0 - held)
        s = total_reflux(column, m)
    raise ConvergenceError("the charge could not be shared between pot and hold-up at total reflux")


def settle(column: Column, s: State) -> State:
    """Solve the rows without hold-up at the state's reflux ratio, everything with a hold-up staying as it is.

    Pseudo-transient continuation: an implicit step of a fictitious unit hold-up that grows as the imbalance falls, and
    so ends as Newton's method.
    """
    if len(s.x) == 0 or np.all(column.holdup > 0.0):
        return _condense(column, s)
    fictitious = replace(
        column,
        holdup=np.where(column.holdup > 0.0, FIXED, 1.0),
        condenser=np.where(column.condenser > 0.0, FIXED, 0.0),
        control=None,
    )
    free = column.holdup <= 0.0
    V = s.R + 1.0
    slowness = V.copy()
    v = fictitious.vapour(s)
    rates = fictitious.rates(s, v.y)
    worst = (np.abs(rates.x) * free).max(axis=(0, 2)) / V
    for _ in range(200):
        if np.max(worst) < CLOSED:
            return _condense(column, s)
        system = Elimination(fictitious, s, fictitious.slopes(s, v), np.maximum(slowness, 1e-12), pot=False)
        u = s.u + system.rows(rates.u)
        u[1:-1] = unit(np.maximum(u[1:-1], TRACE))
        s = State(u, s.R)
        v = fictitious.vapour(s)
        rates = fictitious.rates(s, v.y)
        new = (np.abs(rates.x) * free).max(axis=(0, 2)) / V
        slowness = slowness * np.clip(0.5 * new / np.maximum(worst, 1e-300), 0.02, 4.0)
        if np.all((new < CLOSED) | ((new < STALLED) & (new > 0.5 * worst))):
            return _condense(column, s)
        worst = new
    raise ConvergenceError("the column's profile could not be found at this reflux ratio")


def _condense(column: Column, s: State) -> State:
    """Make the condenser's liquid the top vapour where it holds nothing."""
    y = column.vapour(s).y
    return State.of(s.m, s.x, np.where(column.condenser > 0.0, s.c, y[-1]), s.R)


def steer_reflux(
    column: Column, s: State, component: int, target: Array, low: float, high: float
) -> tuple[State, Array]:
    """Reflux between ``low`` and ``high`` whose distillate holds ``target``; return the state and the deviation (S,).

    Regula falsi with halved weights (Illinois) in ln(1 + R); where the bounds do not enclose the target, the nearer
    bound is kept and the deviation tells the sign.
    """

    def miss(start: State, u: Array) -> tuple[State, Array]:
        settled = settle(column, start.at(np.expm1(u)))
        return settled, settled.c[:, component] - target

    a = np.full(len(target), np.log1p(low))
    b = np.full(len(target), np.log1p(high))
    state, fb = miss(s, b)
    top = state
    state, fa = miss(state, a)
    out_low, out_high = fa >= 0.0, fb <= 0.0
    side = np.zeros(len(target))
    u, f = a, fa
    for _ in range(60):
        inside = ~(out_low | out_high)
        u = np.where(inside, (a * fb - b * fa) / np.where(fb == fa, 1.0, fb - fa), np.where(out_low, a, b))
        state, f = miss(state, u)
        if np.all((np.abs(f) < 1e-12) | ~inside):
            break
        right = f > 0.0
        fa = np.where(right, np.where(side > 0, 0.5 * fa, fa), f)
        fb = np.where(right, f, np.where(side < 0, 0.5 * fb, fb))
        a, b = np.where(right, a, u), np.where(right, u, b)
        side = np.where(right, 1.0, -1.0)
    return state.where(~out_high, top), f
