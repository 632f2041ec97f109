"""`distil`: a batch distillation, differential or with a column, one or hundreds of scenarios together."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still import checks
from fractionkit.still.column import Column
from fractionkit.still.energy import finish, latent_heats_of
from fractionkit.still.equilibrium import Array, Equilibrium, LatentScaled
from fractionkit.still.fitted import FittedVolatility
from fractionkit.still.policy import Charge, RefluxPolicy, Steered, Stepped
from fractionkit.still.record import Record
from fractionkit.still.result import Distillation
from fractionkit.still.running import run
from fractionkit.still.state import Flags

FIT = 0.5
"""Largest error of fitted vapour fractions, in parts of the tolerance."""

FITTED = (2, 3, 4)
"""Numbers of components for which a fit pays."""

ON_TARGET = 1e-7
"""Deviation of the distillate taken for none."""

SOME = 1e-12
"""Part of a stage below which there is none."""

CHUNK = 256
"""Scenarios integrated together; more no longer fit the processor's cache and cost more each."""


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
        1 or more. A fraction makes the top stage work in part: 4.5 has a fifth stage that separates by the square root
        of a whole one.
    reflux_ratio : number or (S,), Stepped, Steered
        L/D, reflux over distillate.
    pressure : number or (S,)
        Pa.
    distilled : number or (S,)
        Part of the charge (moles) to distil; hold-up does not come over, so it is less than 1 - hold-up / charge. Left
        out, 0.95 of that.
    column_holdup : number or (S,)
        Moles of liquid on all stages above the pot together, the same constant amount on each; a top stage that works
        in part holds that part of it.
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
    rate = (boilup if boilup is not None else (heater_power or np.nan) / reference) / total
    scaled = replace(setting, moles=moles, total=total)
    notes, finished = _integrate(equilibrium, scaled, reflux_ratio, tolerance, rate, points)
    return finish(
        mixture, notes, setting, heats, finished,
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


def _column(equilibrium: Equilibrium, setting: checks.Setting) -> Column:
    total = setting.total
    levels = int(np.ceil(setting.stages.max() - 1e-9))
    efficiency = np.clip(setting.stages - np.arange(levels)[:, None], 0.0, 1.0)
    # a top stage that works in part holds that part, so that nothing jumps where a stage is added
    share = efficiency[1:] / np.maximum(efficiency[1:].sum(axis=0), SOME)
    return Column(
        equilibrium,
        setting.pressure,
        efficiency[..., None],
        (share * setting.column_holdup / total)[..., None],
        (setting.condenser_holdup / total)[:, None],
    )


def _integrate(
    equilibrium: Equilibrium, setting: checks.Setting, policy: RefluxPolicy, tolerance: float, rate: Array, points: int
) -> tuple[dict[str, Array], Flags]:
    """Integrate all scenarios, some at a time where the mixture can be divided; return the notes and who finished."""
    S = len(setting.total)
    take = getattr(equilibrium, "take", None)
    size = CHUNK if take is not None else S
    if not isinstance(policy, (Stepped, Steered)):
        policy = np.broadcast_to(np.asarray(policy, dtype=np.float64), (S,))
    parts, ends = [], []
    for first in range(0, S, size):
        index = np.arange(first, min(first + size, S))
        some = setting.take(index) if size < S else setting
        column = _column(take(index) if take is not None and size < S else equilibrium, some)
        record = Record(column, some.top, points)
        ratio = policy[index] if isinstance(policy, np.ndarray) else policy
        ends.append(run(column, record, some, ratio, tolerance, rate[index]))
        parts.append(record.arrays())
    notes = _joined(parts)
    if isinstance(policy, Steered) and not np.any(notes["D"] > 0.0):
        best = float(notes["distillate"][:, 0, policy.component].max())
        found, expected = f"{policy.target:g}", f"at most {best:.4g}, all that reflux {policy.at_most:g} gives"
        raise InputError(Fault(found, expected, column="target"))
    return notes, np.concatenate(ends)


def _joined(parts: list[dict[str, Array]]) -> dict[str, Array]:
    """Join notes of chunks along the scenarios, last points repeated to a common length."""
    length = max(part["D"].shape[1] for part in parts)
    row = [np.minimum(np.arange(length), part["D"].shape[1] - 1) for part in parts]
    return {name: np.concatenate([p[name][:, r] for p, r in zip(parts, row, strict=True)]) for name in parts[0]}
