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
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fractionkit.still.control import Control
from fractionkit.still.equilibrium import Array, Equilibrium, total, vapour_over
from fractionkit.still.state import State

PERTURBATION = 1e-6
"""Step of the differences behind dy/dx; their error is about 1e-6 of the slope."""


EMPTY = 1e-12
"""Part of the charge below which the pot counts as empty."""

TRACE = 1e-30
"""Fraction that stands for an absent component, so that its K-value is known."""


@dataclass(frozen=True)
class Column:
    """The still: equilibrium, pressure, stages and hold-ups of S scenarios.

    efficiency : (N, S, 1) part of a theoretical stage each is: 1, a fraction at the top, 0 where a scenario has fewer
        stages. A part e of a stage separates by the power e, see `part_of_stage`; with e = 0 it passes everything on.
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

    def take(self, each: NDArray[np.intp]) -> Column:
        """Return the still of scenarios ``each``, its reflux given; the mixture must be one that can be divided."""
        mixture = self.mixture.take(each)  # type: ignore[attr-defined]
        return Column(
            mixture, self.pressure[each], self.efficiency[:, each], self.holdup[:, each], self.condenser[each]
        )

    def reflux(self, s: State) -> Array:
        """Reflux ratio (S,) at a state."""
        return s.R if self.control is None else self.control.reflux(s)

    @cached_property
    def inertia(self) -> Array:
        """Hold-up of each row (N + 1, S, 1), 1 for the pot, whose row counts amounts."""
        return np.concatenate([np.ones_like(self.condenser)[None], self.holdup, self.condenser[None]])

    def vapour(self, s: State) -> Vapour:
        """Vapours of pot and stages."""
        liquid = s.u[:-1].copy("K")
        liquid[0] /= np.maximum(total(liquid[0])[..., None], EMPTY)
        # K from a liquid that is all above zero, times the true one: a fraction a rounding below zero stays linear in y
        safe = np.maximum(liquid, TRACE)
        safe /= total(safe)[..., None]
        y = vapour_over(self.mixture, safe, self.pressure)
        up = y / safe * liquid
        if not self.whole:
            up = np.where(self.efficiency > 0.0, up, liquid)
            at = self.partial
            up[at] = part_of_stage(safe[at], y[at], self.efficiency[at]) / safe[at] * liquid[at]
        return Vapour(up, safe, y)

    @cached_property
    def whole(self) -> bool:
        """Whether all stages are whole."""
        return bool(np.all(self.efficiency == 1.0))

    @cached_property
    def partial(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Stage and scenario of every stage that works in part."""
        e = self.efficiency[..., 0]
        stage, scenario = np.nonzero((e > 0.0) & (e < 1.0))
        return stage, scenario

    def rates(self, s: State, y: Array) -> State:
        """Right-hand sides above, and of the reflux."""
        R = self.reflux(s)[:, None]
        net = R * s.u[1:] - (R + 1.0) * y
        out = np.empty_like(s.u)
        out[:-1] = net
        out[-1] = -s.u[-1]
        out[1:] -= net
        return State(out, np.zeros_like(s.R) if self.control is None else self.control.rate(s))

    def slopes(self, s: State, v: Vapour) -> Array:
        """dy_i/dx_k (N, S, n, n); for the pot by its amounts."""
        slope = vapour_slope(self.mixture, v.liquid, v.equilibrium, self.pressure)
        if not self.whole:
            identity = np.eye(v.liquid.shape[-1])
            at = self.partial
            moved = _part_slope(v.liquid[at], v.equilibrium[at], slope[at], self.efficiency[at])
            slope = np.where(self.efficiency[..., None] > 0.0, slope, identity)
            slope[at] = moved
        # the pot's vapour is homogeneous of degree zero in the amounts
        slope[0] = (slope[0] - v.y[0][:, :, None]) / np.maximum(total(s.m), EMPTY)[:, None, None]
        return slope


@dataclass(frozen=True)
class Vapour:
    """Vapours rising from pot and stages, all (N, S, n).

    y : what rises, homogeneous of degree one in the stage's liquid and of degree zero in the pot's amounts.
    liquid : mole fractions, all above zero; equilibrium : vapour in equilibrium with them.
    """

    y: Array
    liquid: Array
    equilibrium: Array


def part_of_stage(x: Array, y: Array, e: Array) -> Array:
    """Vapour (..., n) over a stage that works in part: y_i/y_j = (x_i/x_j) (K_i/K_j)^e.

    Two halves of a stage at total reflux make a whole one where the relative volatility is constant, so Fenske's
    equation holds for any number of stages. ``e`` is (..., 1), ``y`` the vapour in equilibrium with ``x``.
    """
    z = x * (y / x) ** e
    return np.asarray(z / total(z)[..., None])


def _part_slope(x: Array, y: Array, slope: Array, e: Array) -> Array:
    """Slope (..., n, n) of `part_of_stage`, continued as homogeneous of degree one, from that of ``y``.

    d ln z_i/dx_k = M_ik - sum_j z_j M_jk with M_ik = (1 - e) d_ik/x_i + e (dy_i/dx_k)/y_i.
    """
    z = part_of_stage(x, y, e)
    moved = e[..., None] * slope * (z / y)[..., None]
    diagonal = np.arange(x.shape[-1])
    moved[..., diagonal, diagonal] += (1.0 - e) * z / x
    return np.asarray(moved + z[..., None] * (1.0 - moved.sum(axis=-2))[..., None, :])


def vapour_slope(mixture: Equilibrium, x: Array, y: Array, pressure: Array) -> Array:
    """Slope (..., n, n) of y(x) continued as homogeneous of degree one: forward differences, or the mixture's own."""
    own = getattr(mixture, "vapour_slope", None)
    n = x.shape[-1]
    if own is not None:
        return np.asarray(own(x, y), dtype=np.float64)
    steps = PERTURBATION * np.eye(n)
    moved = x + steps.reshape((n,) + (1,) * (x.ndim - 1) + (n,))
    total = moved.sum(axis=-1, keepdims=True)
    _, perturbed = mixture.bubble_point(moved / total, pressure)
    return np.moveaxis((perturbed * total - y) / PERTURBATION, 0, -1)
