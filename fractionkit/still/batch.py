"""`distil`: a batch distillation, differential or with a column, one or hundreds of scenarios together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still import checks, start
from fractionkit.still.column import Column, State
from fractionkit.still.energy import finish, latent_heats_of
from fractionkit.still.equilibrium import Array, Equilibrium, LatentScaled
from fractionkit.still.fitted import FittedVolatility
from fractionkit.still.policy import Charge, RefluxPolicy, Steered, Stepped
from fractionkit.still.record import Record
from fractionkit.still.result import Distillation
from fractionkit.still.rosenbrock import Step, advance

FIRST_STEP = 1e-3
"""First step in parts of the charge; the control takes over at once."""

FITTED = (2, 3, 4)
"""Numbers of components for which a fit pays."""

FIT = 0.5
"""Largest error of fitted vapour fractions, in parts of the tolerance."""

GAIN = 300.0
"""dR/dD of integral action per unit deviation, in 1/(parts of the charge), per unit of R + 1; common practice, no source."""


def distil(
    mixture: Equilibrium,
    charge: Charge | ArrayLike,
    stages: ArrayLike,
    reflux_ratio: RefluxPolicy,
    pressure: ArrayLike,
    *,
    distilled: ArrayLike = 0.95,
    column_holdup: ArrayLike = 0.0,
    condenser_holdup: ArrayLike = 0.0,
    overflow: Literal["molar", "latent"] = "molar",
    latent_heats: ArrayLike | None = None,
    boilup: float | None = None,
    heater_power: float | None = None,
    tolerance: float = 1e-4,
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
    mixture : anything with ``bubble_point(x, pressure) -> (T, y)``: Mixture, ConstantVolatility, TabulatedVolatility.
    charge : `Charge`, or moles of each component (n,) or (S, n).
    stages : 1 or more. A fraction makes the top stage work in part: 4.5 has a fifth stage of half the effect.
    reflux_ratio : L/D, number or (S,); `Stepped`; `Steered`.
    pressure : Pa.
    distilled : part of the charge (moles) to distil; hold-up does not come over, so it is at most 1 - hold-up / charge.
    column_holdup, condenser_holdup : mol of liquid on all stages above the pot together, and in condenser and reflux
        line.
    overflow : ``"latent"`` makes the flows vary with the latent heats; then ``distilled``, hold-ups and `Stepped` count
        moles by latent heat (n_i h_i / mean h of the charge).
    latent_heats : (n,) J/mol; taken from the mixture's substances where it has them.
    boilup : mol/s leaving the pot; heater_power : W into the vapour. One of them gives times.
    tolerance : largest local error of an amount, in parts of the charge, and of a mole fraction.
    points : points noted a step.
    quick : compute with polynomials fitted to the mixture's volatilities (`FittedVolatility`) where they agree with it to
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
    column: Column, record: Record, feed: Array, policy: RefluxPolicy, setting: checks.Setting, tolerance: float, rate: Array
) -> Array:
    """Integrate through all settings of the reflux; return which scenarios came to their end (S,)."""
    s = start.start_up(column, feed)
    S = len(feed)
    D, h = np.zeros(S), np.full(S, FIRST_STEP)
    if isinstance(policy, Steered):
        return _steered(column, record, s, policy, setting.distilled, tolerance)

    def observe(step: Step) -> Array:
        record.step(step)
        return np.zeros(S, dtype=bool)

    for end, R in _segments(policy, setting.distilled, rate):
        s = start.settle(column, State(s.m, s.x, s.c, R.copy()))
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


def _steered(column: Column, record: Record, s: State, policy: Steered, distilled: Array, tolerance: float) -> Array:
    """Hold the distillate; switch between held at the lower bound and steered where a scenario crosses."""
    S = len(s.R)
    target = np.full(S, policy.target)
    free = replace(column, holdup=np.zeros_like(column.holdup), condenser=np.zeros_like(column.condenser))
    quasi, miss = start.steer_reflux(free, s, policy.component, target, policy.at_least, policy.at_most)
    hopeless = miss < -1e-9
    if np.all(hopeless):
        best = float((miss + target).max())
        raise InputError(
            Fault(f"{policy.target:g}", f"at most {best:.4g}, all that reflux {policy.at_most:g} gives", column="target")
        )
    delayed = np.any(column.condenser > 0.0) or np.any(column.holdup > 0.0)
    gain = np.where(delayed, GAIN, 0.0) * (quasi.R + 1.0)
    held = miss > 1e-9
    s = start.settle(column, State(s.m, s.x, s.c, quasi.R))
    if not delayed:
        s = quasi
    D, h = np.zeros(S), np.full(S, FIRST_STEP)
    record.point(s, D, np.ones(S, dtype=bool))
    over = hopeless.copy()
    while True:
        steered = replace(column, steer=policy.component, target=target, gain=gain, held=held)

        def observe(step: Step) -> Array:
            record.step(step)
            R, x = step.after.R, step.after.c[:, policy.component]
            spent = step.good & (R >= policy.at_most)
            over[spent] = True
            turn = step.good & np.where(held, x <= target, R < policy.at_least)  # noqa: B023
            crossed[turn] = True
            return np.asarray(spent | turn)

        crossed = np.zeros(S, dtype=bool)
        end = np.where(over, D, distilled)
        s, D, h = advance(steered, s, D, end, np.minimum(h, FIRST_STEP), tolerance, observe)
        if not np.any(crossed):
            return ~over
        s, held = _switch(column, s, policy, target, crossed, held, delayed=bool(delayed))


def _switch(
    column: Column, s: State, policy: Steered, target: Array, crossed: Array, held: Array, *, delayed: bool
) -> tuple[State, Array]:
    """Change scenarios that crossed between held and steered, and make their profiles consistent."""
    held = np.where(crossed, ~held, held)
    R = np.where(held, policy.at_least, np.maximum(s.R, policy.at_least))
    s = State(s.m, s.x, s.c, R)
    if delayed:
        return start.settle(column, s), held
    quasi, miss = start.steer_reflux(column, s, policy.component, target, policy.at_least, policy.at_most)
    turned = State(s.m, quasi.x, quasi.c, quasi.R)
    return turned.where(crossed, s), np.where(crossed, miss > 1e-9, held)
