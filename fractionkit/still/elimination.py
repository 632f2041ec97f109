"""Solution of the linearized balances, stage by stage."""

from __future__ import annotations

import numpy as np

from fractionkit.still.column import Column
from fractionkit.still.equilibrium import Array
from fractionkit.still.state import State

FEW, MANY = 4, 48
"""Up to so few scenarios the whole inverse is made; from so many on small matrices are inverted by cofactors."""


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
            g = inverse(R * one + z)
            self._down.append(g)
            self._up.append(V * (g @ slopes[j - 1]))
            e = g @ z
        # a pot that must not change is given an infinite heel
        self._pot = inverse(step * one + V * (e @ slopes[0])) if pot else np.zeros_like(e)
        self._whole = self._dense(s.u.shape) if s.u.shape[1] <= FEW else None

    def _dense(self, shape: tuple[int, ...]) -> Array:
        """The inverse as one matrix (S, (N + 1) n, (N + 1) n): for few scenarios one product beats many small ones."""
        levels, S, n = shape
        size = levels * n
        every = np.broadcast_to(np.eye(size).reshape(levels, n, 1, size), (levels, n, S, size))
        columns = self._eliminated(every.transpose(0, 2, 1, 3))
        return np.ascontiguousarray(columns.transpose(1, 0, 2, 3).reshape(S, size, size))

    def rows(self, b: Array) -> Array:
        """Solve for the changes (N + 1, S, n) with the reflux kept."""
        if self._whole is None:
            return self._eliminated(b[..., None])[..., 0]
        flat = b.transpose(1, 0, 2).reshape(len(self._whole), -1, 1)
        return np.asarray((self._whole @ flat).reshape(b.shape[1], len(b), -1).transpose(1, 0, 2))

    def _eliminated(self, b: Array) -> Array:
        """Down and up the column for right-hand sides (N + 1, S, n, r)."""
        k = np.empty(b.shape)
        R, carried = self._R[..., None], self._top[..., None] * b[-1]
        k[-1] = carried
        for g, row in zip(self._down, range(len(b) - 2, 0, -1), strict=True):
            carried = _times(g, b[row] + R * carried)
            k[row] = carried
        k[0] = _times(self._pot, b[0] + R * carried)
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
    if vector.shape[-1] == 1:
        return np.asarray(np.einsum("sij,sj->si", matrix, vector[..., 0]))[..., None]
    return np.asarray(matrix @ vector)


def inverse(a: Array) -> Array:
    """Inverses of matrices (S, n, n); of many small ones by cofactors, which costs a third."""
    n = a.shape[-1]
    if n > 3 or n < 2 or len(a) < MANY:
        return np.asarray(np.linalg.inv(a))
    out = np.empty_like(a)
    if n == 2:
        out[:, 0, 0], out[:, 1, 1], out[:, 0, 1], out[:, 1, 0] = a[:, 1, 1], a[:, 0, 0], -a[:, 0, 1], -a[:, 1, 0]
        out /= (a[:, 0, 0] * a[:, 1, 1] - a[:, 0, 1] * a[:, 1, 0])[:, None, None]
        return out
    m = np.ascontiguousarray(a.transpose(1, 2, 0))
    for i in range(3):
        for j in range(3):
            p, q, r, t = (j + 1) % 3, (j + 2) % 3, (i + 1) % 3, (i + 2) % 3
            out[:, i, j] = m[p, r] * m[q, t] - m[p, t] * m[q, r]
    out /= (m[0, 0] * out[:, 0, 0] + m[0, 1] * out[:, 1, 0] + m[0, 2] * out[:, 2, 0])[:, None, None]
    return out
