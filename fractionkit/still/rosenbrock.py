"""Linearly implicit integration of the column: the stiffly accurate Rosenbrock pair RODAS of orders four and three.

Coefficients: Hairer & Wanner, Solving Ordinary Differential Equations II, 2nd ed., section VI.4 (RODAS; the form
without products by the Jacobian, eq. IV.7.25). Stiffly accurate, so algebraic rows (no hold-up) are met at every step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fractionkit.errors import ConvergenceError
from fractionkit.still.column import Column
from fractionkit.still.control import LOOSE
from fractionkit.still.elimination import Elimination
from fractionkit.still.equilibrium import Array
from fractionkit.still.start import settle
from fractionkit.still.state import Flags, State

GAMMA = 0.25
A = (
    (),
    (1.544,),
    (0.9466785280815826, 0.2557011698983284),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0),
)
C = (
    (),
    (-5.6688,),
    (-2.430093356833875, -0.2063599157091915),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054),
)
B = (*A[5], 1.0)
"""Weights of the new point; the last increment alone is the error estimate."""

DENSE = (
    (10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823, 1.025137723295662),
    (-0.6762803392806898, 6.087714651680015, 16.43084320892478, 24.76722511418386, -6.594389125716872),
)
"""Third-order interpolation inside a step, from the authors' published code of the method."""

SAFETY = 0.9
SHRINK = 0.2
GROW = 5.0
SMALLEST_STEP = 1e-13
SKIP = 1e-9
"""Part of the charge distilled at the composition of the moment where a front is sharper than any step."""
AFTER_SKIP = 1e-6
MOST_SKIPS = 1000
MOST_STEPS = 20000


@dataclass(frozen=True)
class Increments:
    """Increments k_1 .. k_6 of a step: ``u`` (6, n, N + 1, S), the components outermost in memory; ``R`` (6, S)."""

    u: Array
    R: Array

    @classmethod
    def empty(cls, s: State) -> Increments:
        """Room for the increments of a state."""
        levels, S, n = s.u.shape
        return cls(np.empty((len(A), n, levels, S)), np.empty((len(A), S)))

    def add(self, s: State, weights: Sequence[float]) -> State:
        """Return ``s`` plus the weighted sum of the first increments."""
        return State(s.u + self.sum(weights), s.R + np.dot(weights, self.R[: len(weights)]))

    def sum(self, weights: Sequence[float]) -> Array:
        """Weighted sum (N + 1, S, n) of the first increments."""
        flat = self.u[: len(weights)].reshape(len(weights), -1)
        return np.asarray(np.dot(weights, flat).reshape(self.u.shape[1:]).transpose(1, 2, 0))

    def last(self) -> State:
        """Return the last one, the estimated error of the step."""
        return State(self.u[-1].transpose(1, 2, 0), self.R[-1])


def step(column: Column, s: State, h: Array) -> tuple[State, Increments]:
    """Advance all scenarios by ``h`` (S,) moles distilled; return the new state and the increments.

    A scenario whose h is zero does not move.
    """
    idle = h <= 0.0
    inverse = 1.0 / np.where(idle, 1.0, h)
    mass = column.inertia * inverse[:, None]
    steered = column.control is not None
    delayed = column.control is not None and column.control.delayed
    v = column.vapour(s)
    system = Elimination(column, s, column.slopes(s, v), inverse / GAMMA)
    response = system.reflux_response(s, v.y) if steered else None
    k = Increments.empty(s)
    for stage, (a, c) in enumerate(zip(A, C, strict=True)):
        at = k.add(s, a) if stage else s
        b = column.rates(at, column.vapour(at).y if stage else v.y)
        if stage:
            b.u += mass * k.sum(c)
        if stage and delayed:
            b.R += inverse * np.dot(c, k.R[:stage])
        solved = system.solve(s, b, response)
        k.u[stage], k.R[stage] = solved.u.transpose(2, 0, 1), solved.R
    return k.add(s, B).where(~idle, s), k


def inside(before: State, after: State, increments: Increments, part: float) -> State:
    """Return the state at ``part`` (0 to 1) of a step; Hairer & Wanner's dense output, third order.

    y = (1 - p) y_0 + p (y_1 + (1 - p) (sum d2_j k_j + p sum d3_j k_j)).
    """
    p, q = part, 1.0 - part
    chord = State(q * before.u + p * after.u, q * before.R + p * after.R)
    return increments.add(chord, [p * q * (d2 + p * d3) for d2, d3 in zip(*DENSE, strict=True)])


def error_norm(column: Column, new: State, error: State, tolerance: float) -> Array:
    """Largest error (S,) over ``tolerance``, of amounts in parts of the charge and of mole fractions."""
    parts = [np.abs(error.u).max(axis=(0, 2))]
    if column.control is not None:
        parts += [LOOSE * np.abs(error.R), column.control.overrun(new)]
    worst = np.maximum.reduce(parts) / tolerance
    return np.asarray(np.where(np.isfinite(worst), worst, np.inf), dtype=np.float64)


@dataclass(frozen=True)
class Step:
    """One attempt of all scenarios: where each stood, how far it went, and whether it counts."""

    good: Flags
    D: Array
    h: Array
    before: State
    after: State
    increments: Increments


Observer = Callable[[Step], Flags]
"""Called after every attempt; returns which scenarios (S,) are to stop."""


def advance(
    column: Column, s: State, D: Array, end: Array, h: Array, tolerance: float, observe: Observer, few: float = 0.0
) -> tuple[State, Array, Array]:
    """Integrate every scenario from ``D`` to its ``end``, each at its own step; return state, D, next step.

    Return before the end when so ``few`` scenarios, as a part of all, are still on their way.

    Raises
    ------
    ConvergenceError
        if 20,000 steps do not suffice, or if fronts sharper than 1e-13 of the charge had to be skipped a thousand times.
    """
    done, skips = np.asarray(end <= D), 0
    for _ in range(MOST_STEPS):
        if np.count_nonzero(done) >= (1.0 - few) * len(done):
            return s, D, h
        left = end - D
        # two equal steps rather than one full and one sliver
        trial = np.where(done, 0.0, np.where(h >= left, left, np.where(2.0 * h > left, 0.5 * left, h)))
        new, increments = step(column, s, trial)
        norm = error_norm(column, new, increments.last(), tolerance)
        good = (norm <= 1.0) & ~done
        grown = trial * np.clip(SAFETY * np.maximum(norm, 1e-8) ** -0.25, SHRINK, GROW)
        # a step cut short by the end tells nothing against the step planned before
        h = np.where(done, h, np.where(good, np.maximum(grown, np.where(trial < h, h, 0.0)), grown))
        stop = observe(Step(good, D, trial, s, new, increments))
        last = good & (trial >= left)
        D = np.where(last, end, np.where(good, D + trial, D))
        s = new.where(good, s)
        done = done | last | stop
        stuck = ~done & (h < SMALLEST_STEP)
        if np.any(stuck):
            skips += 1
            if skips > MOST_SKIPS or column.control is not None:
                raise ConvergenceError("the distillation cannot be followed: its step shrank to nothing")
            over = _skip(column, s, D, end, stuck)
            done |= observe(over)
            s, D, h = over.after, D + over.h, np.where(stuck, AFTER_SKIP, h)
            done |= end <= D
    raise ConvergenceError(f"the distillation was not finished after {MOST_STEPS} steps; loosen the tolerance")


def _skip(column: Column, s: State, D: Array, end: Array, stuck: Flags) -> Step:
    """Step over a front: a trace of the pot goes over as the distillate of the moment, and the column settles anew.

    With many stages at high reflux and no hold-up a component runs out within less of the charge than digits can show.
    """
    h = np.where(stuck, np.minimum(SKIP, end - D), 0.0)
    pot = np.maximum(s.m - h[:, None] * s.c, 0.0)
    after = settle(column, State.of(pot, s.x, s.c, s.R)).where(stuck, s)
    nothing = Increments.empty(s)
    nothing.u[...], nothing.R[...] = 0.0, 0.0
    return Step(stuck, D, h, s, after, nothing)
