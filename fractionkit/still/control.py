"""How the reflux is steered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fractionkit.still.equilibrium import Array
from fractionkit.still.state import Flags, State

LOOSE = 0.1
"""Weight of an error of the reflux ratio beside one of a mole fraction; the distillate counts."""


@dataclass(frozen=True)
class Control:
    """How the reflux is steered to keep ``component`` of the distillate at ``target`` (S,).

    Without hold-up (``proportional`` and ``integral`` zero) the reflux is an algebraic unknown and the distillate meets
    the target exactly, except where the reflux is ``held`` (S,) at its lower bound. With hold-up the state's R is the
    integral part of a proportional-integral law, R = R_i + P (target - c), dR_i/dD = I (target - c), between ``low``
    and ``high``; the integral rests at a bound.
    """

    component: int
    target: Array
    proportional: Array
    integral: Array
    held: Flags
    low: float
    high: float
    delayed: bool

    def _free(self, s: State) -> Array:
        return s.R + self.proportional * (self.target - s.c[:, self.component])

    def reflux(self, s: State) -> Array:
        """Reflux ratio (S,)."""
        return np.clip(self._free(s), self.low, self.high) if self.delayed else s.R

    def bound(self, s: State) -> Flags:
        """Whether the reflux stands at a bound (S,)."""
        free = self._free(s)
        return np.asarray((free <= self.low) | (free >= self.high)) if self.delayed else self.held

    def overrun(self, s: State) -> Array:
        """How far (S,) a step went past the point where the reflux leaves or meets a bound, as a fraction."""
        if self.delayed:
            return np.zeros_like(s.R)
        late = self.target - s.c[:, self.component]
        beyond = LOOSE * np.maximum(s.R - self.high, self.low - s.R)
        return np.maximum(np.where(self.held, late, beyond), 0.0)

    def rate(self, s: State) -> Array:
        """Right-hand side of the row of R."""
        weight = self.integral if self.delayed else np.ones_like(s.R)
        return np.where(self.bound(s), 0.0, weight * (self.target - s.c[:, self.component]))

    def solve(self, s: State, b: Array, c: Array, response: Array, inverse_step: Array) -> tuple[Array, Array]:
        """Changes of the state's R and of the reflux ratio.

        ``c`` is the distillate's change with the reflux kept, ``response`` its change for a unit change of the reflux,
        ``b`` the right-hand side of the row of R.
        """
        bound = self.bound(s)
        if not self.delayed:
            ratio = (b - c) / np.where(bound | (response == 0.0), np.inf, response)
            return ratio, ratio
        # k_i / (gamma h) + I k_c = b,  ratio = k_i - P k_c,  k_c = c + response ratio
        size = 1.0 / inverse_step
        pull = self.integral * size + self.proportional
        ratio = np.where(bound, 0.0, (size * b - pull * c) / (1.0 + pull * response))
        part = size * (b - np.where(bound, 0.0, self.integral) * (c + response * ratio))
        return part, ratio
