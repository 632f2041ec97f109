"""Solution of the linearized balances, stage by stage."""

from __future__ import annotations

import numpy as np

from fractionkit.still.column import Column
from fractionkit.still.equilibrium import Array
from fractionkit.still.state import State


class Elimination:
    """Factors of W = M/(gamma h) - J, eliminated from the condenser down to the pot.

    With Z_j = H_j/(gamma h) + (R + 1) E_{j+1} Y_j, the block of stage j is R + Z_j, its inverse G_j, and
    E_j = 1 - R G_j = G_j Z_j is built without subtraction. Going down, the right-hand side is carried along; going up,
    the change of a row follows from that of the row below through (R + 1) G_j Y_{j-1}.
    """

    def __init__(self, column: Column, s: State, slopes: Array, inverse_step: Array, *, pot: bool = True) -> None:
        self._control = column.control
        self._step = inverse_step
        one = np.eye(s.u.shape[-1])
        R = column.reflux(s)[:, None, None]
        V = R + 1.0
        step = inverse_step[:, None, None]
        condenser = column.condenser[..., None] * step
        top = 1.0 / (condenser + V)
        self._R, self._top = R[..., 0], top[..., 0]
        # from the top down
        self._down: list[Array] = []
        self._up: list[Array] = [top * V * slopes[-1]]
        e = (condenser + 1.0) * top * one
        for j in range(len(slopes) - 1, 0, -1):
            z = V * (e @ slopes[j]) + column.holdup[j - 1][..., None] * step * one
            g = np.linalg.inv(R * one + z)
            self._down.append(g)
            self._up.append(V * (g @ slopes[j - 1]))
            e = g @ z
        # a pot that must not change is given an infinite heel
        self._pot = np.linalg.inv(step * one + V * (e @ slopes[0])) if pot else np.zeros_like(e)

    def rows(self, b: Array) -> Array:
        """Solve for the changes (N + 1, S, n) with the reflux kept."""
        k = np.empty_like(b)
        carried = self._top * b[-1]
        k[-1] = carried
        for g, row in zip(self._down, range(len(b) - 2, 0, -1), strict=True):
            carried = _times(g, b[row] + self._R * carried)
            k[row] = carried
        k[0] = _times(self._pot, b[0] + self._R * carried)
        for row in range(1, len(b)):
            k[row] += _times(self._up[-row], k[row - 1])
        return k

    def reflux_response(self, s: State, y: Array) -> Array:
        """Change of the rows (N + 1, S, n) for unit change of the reflux, needed when it is steered."""
        net = s.u[1:] - y
        b = np.zeros_like(s.u)
        b[:-1] = net
        b[1:] -= net
        return self.rows(b)

    def solve(self, s: State, b: State, response: Array | None) -> State:
        """Solve for everything; ``response`` from `reflux_response` when the reflux is steered."""
        k = self.rows(b.u)
        if response is None or self._control is None:
            return State(k, np.zeros_like(b.R))
        key = self._control.component
        R, ratio = self._control.solve(s, b.R, k[-1, :, key], response[-1, :, key], self._step)
        return State(k + ratio[:, None] * response, R)


def _times(matrix: Array, vector: Array) -> Array:
    return np.asarray(np.einsum("sij,sj->si", matrix, vector))
