"""What the operator decides: the charge, and how the reflux is run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.still.equilibrium import Array

SUM_TOLERANCE = 1e-6


@dataclass(frozen=True)
class Charge:
    """What goes into the pot.

    Parameters
    ----------
    composition : (n,) or (S, n) fractions that sum to one.
    amount : mol (basis ``"mole"``) or kg (basis ``"mass"``), one number or (S,).
    basis : whether fractions and amount are by moles or by mass.
    """

    composition: ArrayLike
    amount: ArrayLike = 1.0
    basis: Literal["mole", "mass"] = "mole"

    def moles(self, molar_mass: Array | None) -> Array:
        """Moles of each component, (n,) or (S, n).

        Raises
        ------
        InputError
            for a fraction below zero, a sum that is not one, an amount that is not above zero, or a mass basis
            without molar masses.
        """
        z = np.asarray(self.composition, dtype=np.float64)
        amount = np.asarray(self.amount, dtype=np.float64)
        faults = []
        if z.ndim not in (1, 2) or not np.all(np.isfinite(z) & (z >= 0.0)):
            faults.append(Fault(str(self.composition), "fractions of 0 or more, one a component", column="charge"))
        elif np.any(np.abs(z.sum(axis=-1) - 1.0) > SUM_TOLERANCE):
            faults.append(Fault(str(z.sum(axis=-1)), "fractions that sum to 1", column="charge"))
        if not np.all(np.isfinite(amount) & (amount > 0.0)):
            faults.append(Fault(str(self.amount), "an amount above zero", column="charge"))
        if self.basis not in ("mole", "mass"):
            faults.append(Fault(str(self.basis), 'basis "mole" or "mass"', column="charge"))
        elif self.basis == "mass" and molar_mass is None:
            faults.append(Fault("mass", 'basis "mole", since the mixture has no molar masses', column="charge"))
        if faults:
            raise InputError(faults)
        z = z / z.sum(axis=-1, keepdims=True)
        moles = amount[..., None] * z
        return np.asarray(moles / molar_mass if self.basis == "mass" and molar_mass is not None else moles)


@dataclass(frozen=True)
class Stepped:
    """Reflux ratios one after the other; ``ratios[k]`` holds until ``until[k]``, the last one to the end.

    ``by`` says what ``until`` counts: ``"distilled"`` parts of the charge (moles) or ``"time"`` in seconds from the
    first drop.
    """

    ratios: Sequence[float]
    until: Sequence[float]
    by: Literal["distilled", "time"] = "distilled"


@dataclass(frozen=True)
class Steered:
    """Reflux raised as needed so that ``component`` keeps the mole fraction ``target`` in the distillate.

    The distillation ends when ``at_most`` no longer suffices; while ``at_least`` gives more than the target it is kept.
    With hold-up the reflux follows the deviation by proportional-integral action: the distillate, purer from total
    reflux, comes down to the target, and falls behind it as the reflux needed runs away at the end.
    """

    component: int
    target: float
    at_most: float = 100.0
    at_least: float = 0.0


RefluxPolicy = float | int | Array | Sequence[float] | Stepped | Steered


def reflux_faults(policy: RefluxPolicy, n: int) -> list[Fault]:
    """Faults of a reflux policy for ``n`` components."""
    column = "reflux_ratio"
    if isinstance(policy, Stepped):
        ratios, until = np.asarray(policy.ratios, dtype=np.float64), np.asarray(policy.until, dtype=np.float64)
        faults = ratio_faults(ratios)
        if ratios.ndim != 1 or until.shape != (max(ratios.size - 1, 0),):
            faults.append(Fault(str(policy.until), "one end fewer than there are ratios", column=column))
        elif np.any(np.diff(np.concatenate([[0.0], until])) <= 0.0):
            faults.append(Fault(str(policy.until), "ends above zero that rise", column=column))
        if policy.by not in ("distilled", "time"):
            faults.append(Fault(str(policy.by), '"distilled" or "time"', column=column))
        return faults
    if isinstance(policy, Steered):
        faults = ratio_faults(np.array([policy.at_least, policy.at_most]))
        if not 0 <= policy.component < n:
            faults.append(Fault(str(policy.component), f"a component, 0 to {n - 1}", column=column))
        if not 0.0 < policy.target < 1.0:
            faults.append(Fault(str(policy.target), "a mole fraction between 0 and 1", column=column))
        if not policy.at_least < policy.at_most:
            faults.append(Fault(f"{policy.at_least}, {policy.at_most}", "at_least below at_most", column=column))
        return faults
    return ratio_faults(np.asarray(policy, dtype=np.float64))


def ratio_faults(ratios: Array) -> list[Fault]:
    """Fault of reflux ratios that are negative, not numbers, or so high that nothing is taken off."""
    if np.all(np.isfinite(ratios) & (ratios >= 0.0) & (ratios <= HIGHEST_REFLUX)):
        return []
    return [Fault(str(ratios), f"reflux ratios from 0 to {HIGHEST_REFLUX:g}", column="reflux_ratio")]


HIGHEST_REFLUX = 1e6
"""Above this the balances lose digits; no still is run there."""
