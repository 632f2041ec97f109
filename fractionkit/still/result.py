"""A distillation as computed, along the distilled amount, and its division into receivers."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still.equilibrium import Array, unit
from fractionkit.still.hermite import locate, value
from fractionkit.still.state import Flags

ROUNDING = 1e-6
"""Excess of a receiver's end over everything distilled that is taken for the end itself."""


@dataclass(frozen=True)
class Cuts:
    """Receivers of one distillation, arrays (..., C) and (..., C, n) with the scenario axis of the distillation.

    mass : kg; amounts : mol of each component; x, w : mean mole and mass fractions.
    head_start, head_end, pot_end : K; distilled_end : kg distilled when the receiver is taken away.
    time_end : s, NaN without a boil-up; rest : mol of each component (..., n) left in pot and column at the end.
    """

    mass: Array
    amounts: Array
    x: Array
    w: Array
    head_start: Array
    head_end: Array
    pot_end: Array
    distilled_end: Array
    time_end: Array
    rest: Array


@dataclass(frozen=True)
class Distillation:
    """One or many (leading axis S) batch distillations along K points from the first drop to the end.

    Points are where the integration put them, closer where things change; a scenario with fewer points repeats its
    last. At a change of the reflux two points have the same distilled amount.

    distilled : (..., K) mol; distillate_amounts, pot_amounts, column_amounts : (..., K, n) mol of each component that
        have come over, are in the pot, and are held in column and condenser. They sum to the charge exactly.
    distillate : (..., K, n) mole fractions of what is coming over; pot : of the pot's liquid.
    head_temperature : (..., K) K, equilibrium temperature of the top stage; pot_temperature : K.
    reflux_ratio, vapour : (..., K), moles boiled up so far; heat : J since the first drop, NaN without latent heats;
        time : s since the first drop, NaN without a boil-up or heater power.
    charge : (..., n) mol; molar_mass : (n,) kg/mol; finished : (...) False where a steered reflux came to its bound.
    """

    distilled: Array
    distillate_amounts: Array
    pot_amounts: Array
    column_amounts: Array
    distillate: Array
    pot: Array
    head_temperature: Array
    pot_temperature: Array
    reflux_ratio: Array
    vapour: Array
    heat: Array
    time: Array
    charge: Array
    molar_mass: Array
    finished: Flags

    @property
    def single(self) -> bool:
        """Whether this is one distillation, without a scenario axis."""
        return self.distilled.ndim == 1

    @property
    def distilled_mass(self) -> Array:
        """Kilograms distilled (..., K)."""
        return np.asarray(self.distillate_amounts @ self.molar_mass)

    @property
    def distillate_w(self) -> Array:
        """Mass fractions of what is coming over (..., K, n)."""
        return unit(self.distillate * self.molar_mass)

    def as_many(self) -> Distillation:
        """Return the same with a scenario axis."""
        if not self.single:
            return self
        lifted = {f.name: getattr(self, f.name)[None] for f in fields(self) if f.name != "molar_mass"}
        return Distillation(**lifted, molar_mass=self.molar_mass)

    def cut_at_mass(self, ends: ArrayLike) -> Cuts:
        """Divide into receivers taken away when ``ends`` (C,) or (S, C) kg in all have come over.

        A scenario that yields less leaves its later receivers short; a single distillation that does is an error.
        """
        limits = np.asarray(ends, dtype=np.float64)
        if limits.ndim == 0 or limits.size == 0 or not np.all(np.isfinite(limits) & (limits >= 0.0)):
            raise InputError(Fault(str(ends), "distilled masses of 0 or more, kg", column="cuts"))
        if np.any(np.diff(limits, axis=-1) < 0.0):
            raise InputError(Fault(str(ends), "distilled masses that do not fall", column="cuts"))
        total = self.distilled_mass[..., -1]
        if self.single and limits.max() > total * (1.0 + ROUNDING):
            raise InputError(Fault(f"{limits.max():g} kg", f"at most the {float(total):g} kg distilled", column="cuts"))
        many = self.as_many()
        mass = many.distilled_mass
        wide = np.broadcast_to(np.minimum(limits, mass[:, -1:]), (len(mass), limits.shape[-1]))
        rate = many.distillate @ many.molar_mass
        index, part = locate(many.distilled, mass, rate, wide)
        return self._cuts(many, index, part)

    def cut_at_head(self, temperatures: ArrayLike) -> Cuts:
        """Divide into receivers changed when the head first reads ``temperatures`` (C,) K, and one for the rest."""
        limits = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
        if limits.ndim != 1 or not np.all(np.isfinite(limits)) or np.any(np.diff(limits) < 0.0):
            raise InputError(Fault(str(temperatures), "temperatures in K that do not fall", column="cuts"))
        mass = self.when_head(limits)
        ends = np.concatenate([mass, self.distilled_mass[..., -1:]], axis=-1)
        return self.cut_at_mass(ends)

    def when_head(self, temperatures: ArrayLike) -> Array:
        """Kilograms distilled (..., C) when the head first reads ``temperatures`` (C,) K; all if it never does."""
        limits = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
        many = self.as_many()
        return self._first(many, np.maximum.accumulate(many.head_temperature, axis=-1), limits)

    def when_pot(self, component: int, fractions: ArrayLike) -> Array:
        """Kilograms distilled (..., C) when the pot's mole fraction of ``component`` falls to ``fractions`` (C,)."""
        limits = np.atleast_1d(np.asarray(fractions, dtype=np.float64))
        many = self.as_many()
        return self._first(many, np.maximum.accumulate(-many.pot[..., component], axis=-1), -limits)

    def _first(self, many: Distillation, rising: Array, limits: Array) -> Array:
        """Distilled mass where a rising curve (S, K) first reaches each limit, linear between points."""
        mass = many.distilled_mass
        last = rising.shape[-1] - 1
        after = (rising[:, None, :] < limits[:, None]).sum(axis=-1)
        high = np.minimum(after, last)
        low = np.maximum(high - 1, 0)
        rows = np.arange(len(mass))[:, None]
        rise = rising[rows, high] - rising[rows, low]
        part = np.where(rise > 0.0, (limits - rising[rows, low]) / np.where(rise > 0.0, rise, 1.0), 0.0)
        found = mass[rows, low] + np.clip(part, 0.0, 1.0) * (mass[rows, high] - mass[rows, low])
        found = np.where(after > last, mass[:, -1:], found)
        return np.asarray(found[0] if self.single else found)

    def _cuts(self, many: Distillation, index: Array, part: Array) -> Cuts:
        rows = np.arange(len(index))[:, None]

        def between(curve: Array) -> Array:
            p = part.reshape(part.shape + (1,) * (curve.ndim - 2))
            low = curve[rows, index]
            return np.asarray(low + p * (curve[rows, index + 1] - low))

        step = many.distilled[rows, index + 1] - many.distilled[rows, index]
        reached = value(
            many.distillate_amounts[rows, index],
            many.distillate_amounts[rows, index + 1],
            many.distillate[rows, index],
            many.distillate[rows, index + 1],
            step[..., None],
            part[..., None],
        )
        # interpolated totals are monotone but for less than the tolerance; no receiver holds less than nothing
        reached = np.clip(np.maximum.accumulate(reached, axis=1), 0.0, many.charge[:, None])
        amounts = np.diff(reached, axis=1, prepend=0.0)
        head = between(many.head_temperature)
        cuts = Cuts(
            mass=amounts @ many.molar_mass,
            amounts=amounts,
            x=unit(amounts),
            w=unit(amounts * many.molar_mass),
            head_start=np.concatenate([many.head_temperature[:, :1], head[:, :-1]], axis=1),
            head_end=head,
            pot_end=between(many.pot_temperature),
            distilled_end=reached @ many.molar_mass,
            time_end=between(many.time),
            rest=many.charge - reached[:, -1],
        )
        if not self.single:
            return cuts
        return Cuts(**{f.name: getattr(cuts, f.name)[0] for f in fields(cuts)})
