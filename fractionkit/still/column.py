"""Balances of a column over a pot, and the solution of their linearized form stage by stage.

State of S scenarios with N stages and n components, all amounts in parts of the charge: ``m`` (S, n) moles of each
component in the pot, ``x`` (N - 1, S, n) liquid on the stages above it, ``c`` (S, n) liquid in the condenser, ``R``
(S,) reflux ratio. The independent variable is D, moles distilled; the vapour flow is then R + 1 and the reflux R
(constant molar overflow):

    pot        dm/dD     = R x_2 - (R + 1) y_1
    stage j    H_j dx/dD = R (x_{j+1} - x_j) + (R + 1) (y_{j-1} - y_j),   x_{N+1} = c
    condenser  H_c dc/dD = (R + 1) (y_N - c)

A hold-up of zero makes its row an algebraic equation. y(x) is continued off the simplex as a function homogeneous of
degree one, so that all n fractions are unknowns, the sums are conserved by themselves, and the rows are independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fractionkit.still.equilibrium import Array, Equilibrium, unit

PERTURBATION = 1e-6
"""Step of the differences behind dy/dx; their error is about the square of the step's effect on y, 1e-6 of the slope."""


LOOSE = 0.1
"""Weight of an error of the reflux ratio beside one of a mole fraction; the reflux is a means, the distillate counts."""

TRACE = 1e-30
"""Fraction that stands for an absent component, so that its K-value is known."""


@dataclass
class State:
    """Pot amounts, stage liquids, condenser liquid and reflux ratio; also used for their changes and rates."""

    m: Array
    x: Array
    c: Array
    R: Array

    def plus(self, terms: list[tuple[float, State]]) -> State:
        """Return this state with multiples of others added."""
        out = State(self.m.copy(), self.x.copy(), self.c.copy(), self.R.copy())
        for factor, other in terms:
            if factor != 0.0:
                out.m += factor * other.m
                out.x += factor * other.x
                out.c += factor * other.c
                out.R += factor * other.R
        return out

    def where(self, keep: Array, other: State) -> State:
        """Return this state for the scenarios where ``keep`` (S,), else the other."""
        k = keep[:, None]
        return State(
            np.where(k, self.m, other.m),
            np.where(k, self.x, other.x),
            np.where(k, self.c, other.c),
            np.where(keep, self.R, other.R),
        )


@dataclass(frozen=True)
class Control:
    """How the reflux is steered to keep ``component`` of the distillate at ``target`` (S,).

    Without hold-up (``proportional`` and ``integral`` zero) the reflux is an algebraic unknown and the distillate meets
    the target exactly, except where the reflux is ``held`` (S,) at its lower bound. With hold-up the state's R is the
    integral part of a proportional-integral law, R = R_i + P (target - c), dR_i/dD = I (target - c), between ``low`` and
    ``high``; the integral rests at a bound.
    """

    component: int
    target: Array
    proportional: Array
    integral: Array
    held: Array
    low: float
    high: float
    delayed: bool

    def _free(self, s: State) -> Array:
        return s.R + self.proportional * (self.target - s.c[:, self.component])

    def reflux(self, s: State) -> Array:
        """Reflux ratio (S,)."""
        return np.clip(self._free(s), self.low, self.high) if self.delayed else s.R

    def bound(self, s: State) -> Array:
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
        """Changes of the state's R and of the reflux ratio, from the distillate's change with the reflux kept, ``c``, and
        its ``response`` to a unit change of the reflux; ``b`` is the right-hand side of the row of R.
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


@dataclass(frozen=True)
class Column:
    """The still: equilibrium, pressure, stages and hold-ups of S scenarios.

    efficiency : (N, S, 1) part of a theoretical stage each is: 1, a fraction at the top, 0 where a scenario has fewer
        stages. A stage of efficiency e gives y = x + e (y_equilibrium - x); with e = 0 it passes everything on.
    holdup : (N - 1, S, 1) moles on each stage above the pot, in parts of the charge.
    condenser : (S, 1) moles in the condenser, in parts of the charge.
    control : how the reflux is steered, None where it is given.
    """

    mixture: Equilibrium
    pressure: Array
    efficiency: Array
    holdup: Array
    condenser: Array
    control: Control | None = None

    def reflux(self, s: State) -> Array:
        """Reflux ratio (S,) at a state."""
        return s.R if self.control is None else self.control.reflux(s)

    def vapour(self, s: State) -> tuple[Array, Array]:
        """Return y (N, S, n), homogeneous of degree one on the stages and zero in the pot, and the liquid (N, S, n)."""
        liquid = np.concatenate([s.m[None], s.x])
        # K from a liquid that is all above zero, times the true one: a fraction a rounding below zero stays linear in y
        safe = unit(np.maximum(liquid, TRACE))
        quick = getattr(self.mixture, "vapour", None)
        y = self.mixture.bubble_point(safe, self.pressure)[1] if quick is None else quick(safe)
        liquid[0] /= np.maximum(s.m.sum(axis=-1, keepdims=True), 1e-12)
        return self.efficiency * (y / safe * liquid) + (1.0 - self.efficiency) * liquid, safe

    def rates(self, s: State, y: Array) -> State:
        """Right-hand sides above, and of the reflux."""
        R = self.reflux(s)[:, None]
        above = np.concatenate([s.x, s.c[None]])
        m = R * above[0] - (R + 1.0) * y[0]
        x = R * (above[1:] - s.x) + (R + 1.0) * (y[:-1] - y[1:])
        c = (R + 1.0) * (y[-1] - s.c)
        return State(m, x, c, np.zeros_like(s.R) if self.control is None else self.control.rate(s))

    def slopes(self, s: State, y: Array, liquid: Array) -> Array:
        """dy_i/dx_k (N, S, n, n); for the pot by its amounts."""
        slope = vapour_slope(self.mixture, liquid, self.pressure)
        n = liquid.shape[-1]
        e = self.efficiency[..., None]
        slope = e * slope + (1.0 - e) * np.eye(n)
        # the pot's vapour is homogeneous of degree zero in the amounts
        slope[0] = (slope[0] - y[0][:, :, None]) / np.maximum(s.m.sum(axis=-1), 1e-12)[:, None, None]
        return slope


def vapour_slope(mixture: Equilibrium, x: Array, pressure: Array) -> Array:
    """Slope (..., n, n) of y(x) continued as homogeneous of degree one: forward differences, or the mixture's own."""
    own = getattr(mixture, "vapour_slope", None)
    n = x.shape[-1]
    if own is not None:
        quick = getattr(mixture, "vapour", None)
        y = mixture.bubble_point(x, pressure)[1] if quick is None else quick(x)
        return np.asarray(own(x, y), dtype=np.float64)
    steps = PERTURBATION * np.concatenate([np.zeros((1, n)), np.eye(n)])
    moved = x + steps.reshape((n + 1,) + (1,) * (x.ndim - 1) + (n,))
    total = moved.sum(axis=-1, keepdims=True)
    _, y = mixture.bubble_point(moved / total, pressure)
    y = y * total
    return np.moveaxis((y[1:] - y[0]) / PERTURBATION, 0, -1)


class Elimination:
    """Factors of W = M/(gamma h) - J, eliminated from the condenser down to the pot.

    With Z_j = H_j/(gamma h) + (R + 1) E_{j+1} Y_j, the block of stage j is R + Z_j, its inverse G_j, and
    E_j = 1 - R G_j = G_j Z_j is built without subtraction.
    """

    def __init__(self, column: Column, s: State, slopes: Array, inverse_step: Array, *, pot: bool = True) -> None:
        self.column, self.slopes = column, slopes
        n = s.m.shape[-1]
        one = np.eye(n)
        self.R = column.reflux(s)[:, None, None]
        self.V = self.R + 1.0
        step = inverse_step[:, None, None]
        self.factors: list[Array] = []
        top = 1.0 / (column.condenser[..., None] * step + self.V)
        self.top = top
        e = (column.condenser[..., None] * step + 1.0) * top * one
        for j in range(len(s.x) - 1, -1, -1):
            z = column.holdup[j][..., None] * step * one + self.V * (e @ slopes[j + 1])
            g = np.linalg.inv(self.R * one + z)
            self.factors.append(g)
            e = g @ z
        # a pot that must not change is given an infinite heel
        self.pot = np.linalg.inv(step * one + self.V * (e @ slopes[0])) if pot else np.zeros_like(e)
        self._step = inverse_step

    def rows(self, b: State) -> State:
        """Solve for the amounts and fractions with the reflux kept."""
        R, V = self.R[..., 0], self.V[..., 0]
        count = len(b.x)
        carried = self.top[..., 0] * b.c
        below: list[Array] = [carried]
        for j in range(count - 1, -1, -1):
            carried = _times(self.factors[count - 1 - j], b.x[j] + R * carried)
            below.append(carried)
        m = _times(self.pot, b.m + R * carried)
        x = np.empty_like(b.x)
        k = m
        for j in range(count):
            rise = _times(self.slopes[j], k)
            k = below[count - j] + V * _times(self.factors[count - 1 - j], rise)
            x[j] = k
        c = below[0] + self.top[..., 0] * V * _times(self.slopes[count], k)
        return State(m, x, c, np.zeros_like(b.R))

    def reflux_response(self, s: State, y: Array) -> State:
        """Change of the rows for unit change of the reflux, needed when it is steered."""
        above = np.concatenate([s.x, s.c[None]])
        b = State(above[0] - y[0], above[1:] - s.x + y[:-1] - y[1:], y[-1] - s.c, np.zeros_like(s.R))
        return self.rows(b)

    def solve(self, s: State, b: State, response: State | None) -> State:
        """Solve for everything; ``response`` from `reflux_response` when the reflux is steered."""
        k = self.rows(b)
        control = self.column.control
        if response is None or control is None:
            return k
        key = control.component
        R, ratio = control.solve(s, b.R, k.c[:, key], response.c[:, key], self._step)
        r = ratio[:, None]
        return State(k.m + r * response.m, k.x + r * response.x, k.c + r * response.c, R)


def _times(matrix: Array, vector: Array) -> Array:
    return np.asarray(np.einsum("sij,sj->si", matrix, vector))
