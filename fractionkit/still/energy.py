"""Temperatures, heat and time along a distillation, and its assembly into the result."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still.checks import Setting
from fractionkit.still.column import TRACE, part_of_stage
from fractionkit.still.equilibrium import Array, Equilibrium, laid_out, unit, vapour_over
from fractionkit.still.result import Distillation
from fractionkit.still.state import Flags

DEW_STEPS = 4
"""Steps to the liquid under the vapour of a stage that works in part; with a constant relative volatility one does."""


def latent_heats_of(mixture: Equilibrium, given: ArrayLike | None, n: int) -> Array | None:
    """Molar heats of vaporization (n,) J/mol: given, or of the mixture's substances, or None."""
    if given is not None:
        heats = np.asarray(given, dtype=np.float64)
        if heats.shape != (n,) or not np.all(np.isfinite(heats) & (heats > 0.0)):
            raise InputError(Fault(str(given), f"{n} heats of vaporization above zero, J/mol", column="latent_heats"))
        return heats
    substances = getattr(mixture, "substances", None)
    if substances is None:
        return None
    return np.array([s.heat_of_vaporization.value for s in substances], dtype=np.float64)


def finish(
    mixture: Equilibrium,
    notes: dict[str, Array],
    setting: Setting,
    heats: Array | None,
    finished: Flags,
    *,
    scale: Array | None,
    total: Array,
    boilup: float | None,
    heater_power: float | None,
) -> Distillation:
    """Turn parts of the charge into moles, and add temperatures, heat and time.

    ``scale`` (n,) turns amounts by latent heat into moles. Amounts that came over never fall; that and the exact
    closure of each component are made here, from what the integration left uncertain (within its tolerance).
    """
    factor = (1.0 if scale is None else scale) * total[:, None, None]
    charge = setting.moles[:, None]
    held = np.clip(notes["held"] * factor, 0.0, charge)
    # traces that came out below zero are nothing; the rest shares what must be left
    left = np.maximum(1.0 - notes["D"] - notes["held"].sum(axis=-1), 0.0)
    pot = unit(np.maximum(notes["m"], 0.0)) * left[..., None] * factor
    over = np.maximum.accumulate(np.clip(charge - pot - held, 0.0, charge), axis=1)
    over -= over[:, :1]
    held = np.minimum(held, charge - over)
    pot = charge - over - held
    back = 1.0 if scale is None else scale
    distillate = unit(np.maximum(notes["distillate"], 0.0) * back)
    liquid = unit(np.maximum(_points_first(notes["m"] * back), 0.0))
    pot_temperature, boiling = mixture.bubble_point(liquid, setting.pressure)
    pot_temperature, boiling = np.asarray(pot_temperature).T, np.moveaxis(boiling, 0, 1)
    vapour, heat, time = _flows(notes, boiling, heats, scale, total, boilup, heater_power)
    result = Distillation(
        distilled=over.sum(axis=-1),
        distillate_amounts=over,
        pot_amounts=pot,
        column_amounts=held,
        distillate=distillate,
        pot=unit(np.maximum(notes["m"], 0.0) * back),
        head_temperature=_head(mixture, notes, setting, back),
        pot_temperature=pot_temperature,
        reflux_ratio=notes["R"],
        vapour=vapour,
        heat=heat,
        time=time,
        charge=setting.moles,
        molar_mass=np.asarray(getattr(mixture, "molar_mass", np.ones(charge.shape[-1])), dtype=np.float64),
        finished=finished,
    )
    if not setting.single:
        return result
    first = {f.name: getattr(result, f.name)[0] for f in fields(result) if f.name != "molar_mass"}
    return Distillation(**first, molar_mass=result.molar_mass)


def _points_first(x: Array) -> Array:
    """Compositions (K, S, n) of (S, K, n): points before scenarios, as mixtures with values per scenario expect."""
    out = laid_out((x.shape[1], x.shape[0], x.shape[2]))
    out[...] = x.transpose(1, 0, 2)
    return out


def _head(mixture: Equilibrium, notes: dict[str, Array], setting: Setting, back: Array | float) -> Array:
    """Temperature at which the vapour that leaves the top stage condenses.

    Over a whole stage that is the stage's own. Over one that works in part (`part_of_stage`) the liquid x in
    equilibrium with that vapour z is found from x_i = z_i/K_i, K first at the stage's liquid.
    """
    liquid = np.maximum(unit(np.maximum(_points_first(notes["upper"] * back), 0.0)), TRACE)
    part = (setting.stages - setting.top)[:, None]
    if np.any(part < 1.0):
        y = np.maximum(vapour_over(mixture, liquid, setting.pressure), TRACE)
        z = part_of_stage(liquid, y, part)
        for step in range(DEW_STEPS):
            if step:
                y = np.maximum(vapour_over(mixture, liquid, setting.pressure), TRACE)
            liquid = np.maximum(unit(z * liquid / y), TRACE)
    T, _ = mixture.bubble_point(liquid, setting.pressure)
    return np.asarray(T).T


def _flows(
    notes: dict[str, Array],
    boiling: Array,
    heats: Array | None,
    scale: Array | None,
    total: Array,
    boilup: float | None,
    heater_power: float | None,
) -> tuple[Array, Array, Array]:
    """Moles boiled up, heat in J and time in s since the first drop, (S, K), by the trapezoidal rule between points."""
    D = notes["D"] * total[:, None]
    flow = notes["R"] + 1.0
    unknown = np.full(D.shape, np.nan)
    scaled = cumulative(flow, D)
    if scale is None:
        vapour = scaled
        heat = unknown if heats is None else cumulative(flow * (boiling @ heats), D)
    elif heats is not None:
        # one scaled mole takes the reference heat, heats * scale, whatever it consists of
        heat = scaled * float(heats[0] * scale[0])
        vapour = cumulative(flow * (heats[0] * scale[0]) / (boiling @ heats), D)
    if boilup is not None:
        time = vapour / boilup
    elif heater_power is not None:
        time = heat / heater_power
    else:
        time = unknown
    return vapour, heat, time


def cumulative(rate: Array, along: Array) -> Array:
    """Integral of ``rate`` (S, K) over ``along`` from its first point to each."""
    parts = 0.5 * (rate[:, 1:] + rate[:, :-1]) * np.diff(along, axis=1)
    return np.concatenate([np.zeros((len(rate), 1)), np.cumsum(parts, axis=1)], axis=1)
