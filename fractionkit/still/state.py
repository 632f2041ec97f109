"""The state of the still, and of its changes and rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.still.equilibrium import Array, laid_out

Flags = NDArray[np.bool_]


@dataclass
class State:
    """Pot amounts, liquids of stages and condenser, and reflux ratio; also used for their changes and rates.

    u : (N + 1, S, n), the pot's amounts first, then the stages from the second to the top one, the condenser last.
    R : (S,).
    """

    u: Array
    R: Array

    @classmethod
    def of(cls, m: Array, x: Array, c: Array, R: Array) -> State:
        """Build a state from its parts (S, n), (N - 1, S, n), (S, n) and (S,)."""
        u = laid_out((len(x) + 2, *m.shape))
        u[0], u[1:-1], u[-1] = m, x, c
        return cls(u, R)

    @property
    def m(self) -> Array:
        """Moles in the pot (S, n)."""
        return np.asarray(self.u[0])

    @property
    def x(self) -> Array:
        """Liquids on the stages above the pot (N - 1, S, n)."""
        return np.asarray(self.u[1:-1])

    @property
    def c(self) -> Array:
        """Liquid in the condenser, the distillate (S, n)."""
        return np.asarray(self.u[-1])

    def at(self, R: Array) -> State:
        """Return the same with another reflux ratio."""
        return State(self.u.copy("K"), R.copy())

    def take(self, each: NDArray[np.intp]) -> State:
        """Return the state of scenarios ``each``."""
        u = laid_out((len(self.u), len(each), self.u.shape[-1]))
        u[...] = self.u[:, each]
        return State(u, self.R[each])

    def where(self, keep: Flags, other: State) -> State:
        """Return this state for the scenarios where ``keep`` (S,), else the other."""
        return State(np.where(keep[:, None], self.u, other.u), np.where(keep, self.R, other.R))
