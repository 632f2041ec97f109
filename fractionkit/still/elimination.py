"""Solution of the linearized balances, stage by stage."""

from __future__ import annotations

import numpy as np

from fractionkit.still.column import Column
from fractionkit.still.equilibrium import Array
from fractionkit.still.state import State

FEW, MANY = 4, 48
"""Up to so few scenarios the whole inverse is made; from so many on small matrices are inverted by cofactors."""

SMALL = 160
"""Rows up to which that inverse is made of the whole matrix at once."""


class Elimination:
    """Factors of W = M/(gamma h) - J, eliminated from the condenser down to the pot.

    With Z_j = H_j/(gamma h) + (R + 1) E_{j+1} Y_j, the block of stage j is R + Z_j, its inverse G_j, and
    E_j = 1 - R G_j = G_j Z_j is built without subtraction. Going down, the right-hand side is carried along through
    R G_j; going up, the change of a row follows from that of the row below through (R + 1) G_j Y_{j-1}.
    """

    def __init__(self, column: Column, s: State, slopes: Array, inverse_step: Array, *, pot: bool = True) -> None:
        levels, S, n = s.u.shape
        self._control = column.control
        self._step = inverse_step
        R = column.reflux(s)
        if S <= FEW and levels * n <= SMALL:
            self._whole: Array | None = _whole_inverse(column, slopes, R, inverse_step, pot=pot)
            return
        self._eliminate(column, slopes, R, pot=pot)
        self._whole = self._dense() if S <= FEW else None

    def _eliminate(self, column: Column, slopes: Array, R: Array, *, pot: bool) -> None:
        N, S, n, _ = slopes.shape
        levels, step, V = N + 1, self._step, R + 1.0
        held = column.holdup[..., 0] * step
        condenser = column.condenser[:, 0] * step
        top = 1.0 / (condenser + V)
        rising = slopes.transpose(0, 2, 3, 1) * V
        # of each row: what its own right-hand side, the row above and the row below bring, (N + 1, n, n, S)
        self._own = np.zeros((levels, n, n, S))
        self._above = np.empty((levels - 1, n, n, S))
        self._below = np.empty((levels - 1, n, n, S))
        e = np.zeros((n, n, S))
        each = range(n)
        for i in each:
            self._own[-1, i, i] = top
            e[i, i] = (condenser + 1.0) * top
        np.multiply(rising[-1], top, out=self._below[-1])
        for j in range(levels - 2, 0, -1):
            z = _product(e, rising[j])
            for i in each:
                z[i, i] += held[j - 1]
            whole = z.copy()
            for i in each:
                whole[i, i] += R
            self._own[j] = g = inverse(whole)
            self._below[j - 1] = _product(g, rising[j - 1])
            e = _product(g, z)
        if pot:  # a pot that must not change is given an infinite heel
            last = _product(e, rising[0])
            for i in each:
                last[i, i] += step
            self._own[0] = inverse(last)
        np.multiply(self._own[:-1], R, out=self._above)

    def _dense(self) -> Array:
        """The inverse as one matrix (S, (N + 1) n, (N + 1) n): for few scenarios one product beats many small ones."""
        levels, n, _, S = self._own.shape
        size = levels * n
        every = np.broadcast_to(np.eye(size).reshape(levels, n, 1, size), (levels, n, S, size))
        columns = self._eliminated(every)
        return np.ascontiguousarray(columns.transpose(2, 0, 1, 3).reshape(S, size, size))

    def rows(self, b: Array) -> Array:
        """Solve for the changes (N + 1, S, n) with the reflux kept."""
        if self._whole is None:
            return self._eliminated(b.transpose(0, 2, 1)).transpose(0, 2, 1)
        flat = b.transpose(1, 0, 2).reshape(len(self._whole), -1, 1)
        return np.asarray((self._whole @ flat).reshape(b.shape[1], len(b), -1).transpose(1, 0, 2))

    def _eliminated(self, b: Array) -> Array:
        """Down and up the column for right-hand sides (N + 1, n, S) or (N + 1, n, S, r)."""
        k = np.einsum("lijs,ljs...->lis...", self._own, b)
        for row in range(len(b) - 2, -1, -1):
            k[row] += np.einsum("ijs,js...->is...", self._above[row], k[row + 1])
        for row in range(1, len(b)):
            k[row] += np.einsum("ijs,js...->is...", self._below[row - 1], k[row - 1])
        return np.asarray(k)

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


def _whole_inverse(column: Column, slopes: Array, R: Array, step: Array, *, pot: bool) -> Array:
    """Inverse of W (S, (N + 1) n, (N + 1) n)."""
    N, S, n, _ = slopes.shape
    V = R + 1.0
    W = np.zeros((S, N + 1, n, N + 1, n))
    rising = V[:, None, None] * slopes
    low, one = np.arange(N), np.arange(n)
    # numpy puts the axes of the two lists first, (N, S, n, n), where a slice stands between them
    W[:, low, :, low] = rising
    W[:, low + 1, :, low] = -rising
    own = np.empty((N + 1, S))
    own[0], own[1:-1], own[-1] = step, column.holdup[..., 0] * step + R, column.condenser[:, 0] * step + V
    for i in one:
        W[:, low, i, low + 1, i] -= R[:, None]
        W[:, np.arange(N + 1), i, np.arange(N + 1), i] += own.T
    if not pot:
        W[:, 0] = 0.0
        W[:, 0, one, 0, one] = 1.0
    whole = np.linalg.inv(W.reshape(S, (N + 1) * n, -1))
    if not pot:
        whole[..., :n] = 0.0
    return whole


def _product(a: Array, b: Array) -> Array:
    """Products of matrices (n, n, S)."""
    return np.asarray(np.einsum("ijs,jks->iks", a, b))


def inverse(a: Array) -> Array:
    """Inverses of matrices (n, n, S); of many small ones by cofactors, which costs a third."""
    n, _, S = a.shape
    if n > 3 or n < 2 or S < MANY:
        return np.asarray(np.linalg.inv(a.transpose(2, 0, 1)).transpose(1, 2, 0), dtype=np.float64)
    out = np.empty_like(a)
    if n == 2:
        out[0, 0], out[1, 1], out[0, 1], out[1, 0] = a[1, 1], a[0, 0], -a[0, 1], -a[1, 0]
        out /= a[0, 0] * a[1, 1] - a[0, 1] * a[1, 0]
        return out
    for i in range(3):
        for j in range(3):
            p, q, r, t = (j + 1) % 3, (j + 2) % 3, (i + 1) % 3, (i + 2) % 3
            out[i, j] = a[p, r] * a[q, t] - a[p, t] * a[q, r]
    out /= a[0, 0] * out[0, 0] + a[0, 1] * out[1, 0] + a[0, 2] * out[2, 0]
    return out
