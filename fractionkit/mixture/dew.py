"""Dew point: the highest temperature at which some liquid is in equilibrium with the vapour.

At a given liquid x (not yet in equilibrium) let T*(x) be the root of

    tpd(x, T) = sum_i x_i [ln x_i + ln gamma_i(x, T) + ln p_i(T) - ln(y_i P)] = 0,

the tangent-plane distance of Michelsen (Fluid Phase Equilib. 9 (1982) 1-19). tpd rises with T, so the
dew point is the maximum of T*(x) over the simplex: every stationary point of T* solves the dew equations and the
highest one is the stable liquid. That makes T* a merit function: a step counts only if T* rises, Newton first, else
successive substitution, whose direction always climbs, halved until it does. Liquids that can split have several
maxima; then what is found is screened (`screen`), where in doubt the search starts anew from the challenger and from
every pure component, and the highest one wins.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from fractionkit.errors import ConvergenceError
from fractionkit.mixture.activity import Activity
from fractionkit.mixture.arrays import Array, Flags
from fractionkit.mixture.bubble import ln_k
from fractionkit.mixture.screen import NET, challengers
from fractionkit.mixture.vapour import T_HIGHEST, T_LOWEST, VapourPressure

ITERATIONS = 150
ROUNDING = 1e-12
"""A merit that falls by less than this share has not fallen."""
TOLERANCE = 1e-11
ACCEPTED = 1e-8
"""Change of a mole fraction at which a start counts as converged; iteration stops at TOLERANCE."""
ABSENT = -700.0
"""Stands for the logarithm of the vapour fraction of an absent component."""
NEARLY_PURE = 0.98
"""Mole fraction of one component in the extra starts for liquids that can split."""


@dataclass
class _State:
    """Iterates (N, ...): log x, T, the residual r = ln(y P) - ln(x gamma p), the Newton step and the merit T*."""

    log_x: Array
    T: Array
    residual: Array
    newton: Array
    merit: Array

    def only(self, keep: Flags) -> _State:
        """Return the rows to go on with."""
        return _State(*(getattr(self, f.name)[keep] for f in fields(self)))

    def replaced(self, other: _State, mask: Flags) -> _State:
        """Return this state with the masked rows of ``other``."""
        return _State(*(_choose(mask, getattr(other, f.name), getattr(self, f.name)) for f in fields(self)))

    def spliced(self, other: _State, mask: Flags) -> _State:
        """Return this state with ``other`` (as many rows as ``mask`` marks) in the marked rows."""
        merged = _State(*(getattr(self, f.name).copy() for f in fields(self)))
        for f in fields(self):
            getattr(merged, f.name)[mask] = getattr(other, f.name)
        return merged


def _choose(mask: Flags, one: Array, other: Array) -> Array:
    return np.where(mask[:, None] if one.ndim == 2 else mask, one, other)


def dew_point(
    vapour: VapourPressure, activity: Activity, y: Array, P: Array, *, may_split: bool
) -> tuple[Array, Array]:
    """Return T (...) and x (..., n) of the first liquid from vapours ``y`` (..., n) at ``P`` (...).

    ``may_split`` asks for the highest of several roots: the liquid found is compared with a net of others and where one
    of them may lie higher, the search starts again from there and from every nearly pure component (for five and more
    components from the latter always).

    Raises
    ------
    ConvergenceError
        if no start of some vapour converged.
    """
    n = y.shape[-1]
    shape = np.broadcast_shapes(y.shape[:-1], P.shape)
    vapours = np.broadcast_to(y, (*shape, n)).reshape(-1, n)
    log_P = np.log(np.broadcast_to(P, shape).reshape(-1))
    present = vapours > 0.0
    target = np.where(present, np.log(np.where(present, vapours, 1.0)), ABSENT) + log_P[:, None]
    T, x = _highest(vapour, activity, _raoult(vapour, vapours, log_P)[None], target, present)
    if may_split and T.size:
        doubtful, starts = np.ones(T.size, dtype=np.bool_), _nearly_pure(vapours)
        if n in NET:
            doubtful, better = challengers(vapour, activity, target, T, x)
            starts = np.concatenate([(NEARLY_PURE * better + (1.0 - NEARLY_PURE) * vapours)[None], starts])
        if doubtful.any():
            again_T, again = _highest(vapour, activity, starts[:, doubtful], target[doubtful], present[doubtful])
            higher = again_T > T[doubtful]
            x[doubtful] = np.where(higher[:, None], again, x[doubtful])
            T[doubtful] = np.where(higher, again_T, T[doubtful])
    if not np.isfinite(T).all():
        lost = vapours[~np.isfinite(T)]
        raise ConvergenceError(f"no dew point for {len(lost)} of {len(vapours)} vapours, e.g. y = {lost[0]}")
    return T.reshape(shape), x.reshape((*shape, n))


def _highest(
    vapour: VapourPressure, activity: Activity, starts: Array, target: Array, present: Flags
) -> tuple[Array, Array]:
    """Climb from each of ``starts`` (starts, N, n); return the highest T (N,), -inf where none converged, and x (N, n)."""
    count, N, n = starts.shape
    many = np.tile(present, (count, 1))
    goal = np.where(many, np.tile(target, (count, 1)), 0.0)
    T, x, converged = _climb(vapour, activity, starts.reshape(-1, n), goal, many)
    T = np.where(converged, T, -np.inf).reshape(count, N)
    best, column = T.argmax(axis=0), np.arange(N)
    return T[best, column], x.reshape(count, N, n)[best, column]


def _raoult(vapour: VapourPressure, y: Array, log_P: Array) -> Array:
    """Starting liquids (N, n): those of Raoult's law at its dew point."""
    boiling = vapour.boiling_point(np.exp(log_P))
    T = (y * boiling).sum(axis=-1)
    for _ in range(3):  # Raoult's dew point: sum y P / p(T) = 1, Newton in 1/T on its logarithm
        ln_p, slope = vapour.ln(T)
        terms = y * np.exp(log_P[:, None] - ln_p)
        total = terms.sum(axis=-1)
        step = np.log(total) / ((terms * slope).sum(axis=-1) / total * T**2)
        T = 1.0 / np.clip(1.0 / T - step, 1.0 / T_HIGHEST, 1.0 / T_LOWEST)
    raoult = y * np.exp(log_P[:, None] - vapour.ln(T)[0])
    return np.asarray(raoult / raoult.sum(axis=-1, keepdims=True), dtype=np.float64)


def _nearly_pure(y: Array) -> Array:
    """Starting liquids (n, N, n), each nearly pure; where the vapour lacks that component, y itself."""
    pure = (1.0 - NEARLY_PURE) * y[None] + NEARLY_PURE * np.eye(y.shape[-1])[:, None, :]
    pure = np.where(y[None] > 0.0, pure, 0.0)
    return np.asarray(pure / pure.sum(axis=-1, keepdims=True), dtype=np.float64)


def _evaluate(
    vapour: VapourPressure, activity: Activity, log_x: Array, T: Array, target: Array, present: Flags
) -> _State:
    """Evaluate the dew equations at (x, T): residuals at the improved T*, and Newton's step in ln x."""
    x = np.where(present, np.exp(log_x), 0.0)
    liquid = activity.evaluate(x, T, jacobian=True)
    ln_p, slope_p = vapour.ln(T)
    slope = slope_p + liquid.slope_t
    residual = np.where(present, target - log_x - liquid.ln_gamma - ln_p, 0.0)
    merit = _improved(T, (x * residual).sum(axis=-1), (x * slope).sum(axis=-1))
    change = (1.0 / T - 1.0 / merit) * T**2
    residual = np.where(present, residual - slope * change[:, None], 0.0)
    return _State(log_x, T, residual, _newton(x, liquid.slope_x, slope, residual, present), merit)


def _newton(x: Array, dx: Array | None, slope: Array, residual: Array, present: Flags) -> Array:
    """Solve d + J d + s dT = r, sum x d = 0 for d = change of ln x, (N, n); zero where singular."""
    assert dx is not None
    N, n = x.shape
    matrix = np.zeros((N, n + 1, n + 1))
    both = present[:, :, None] & present[:, None, :]
    matrix[:, :n, :n] = np.where(both, dx * x[:, None, :], 0.0) + np.eye(n)
    matrix[:, :n, n] = np.where(present, slope, 0.0)
    matrix[:, n, :n] = x
    right = np.concatenate([residual, np.zeros((N, 1))], axis=1)[..., None]
    try:
        step = np.linalg.solve(matrix, right)
    except np.linalg.LinAlgError:  # one of the batch is singular to the last digit: leave that one to substitution
        sound = np.abs(np.linalg.det(matrix)) > 1e-14
        step = np.where(
            sound[:, None, None], np.linalg.solve(np.where(sound[:, None, None], matrix, np.eye(n + 1)), right), 0.0
        )
    found: Array = step[:, :n, 0]
    return np.where(np.isfinite(found), found, 0.0)


def _climb(
    vapour: VapourPressure, activity: Activity, x: Array, target: Array, present: Flags
) -> tuple[Array, Array, Flags]:
    """Climb T*(x) from each row of ``x`` to a stationary point; return T, x and which rows converged."""
    log_x = np.where(present, np.log(np.where(x > 0.0, x, 1.0)), 0.0)
    T = _merit(vapour, activity, x, log_x, target, present)
    state = _evaluate(vapour, activity, log_x, T, target, present)
    rows, failures = np.arange(len(x)), np.zeros(len(x), dtype=np.int64)
    final_T, final_x, size = state.merit.copy(), x.copy(), np.full(len(x), np.inf)
    for _ in range(ITERATIONS):
        now = np.where(present, np.exp(state.log_x), 0.0)
        # a trace component may not lag behind: 1e-11 in x, 1e-8 in ln x
        moved = (np.abs(state.residual) * np.maximum(now, 1e-3)).max(axis=-1)
        done = (np.abs(state.merit - state.T) <= 1e-9 * state.T) & ((moved <= TOLERANCE) | (failures > 45))
        final_T[rows], final_x[rows], size[rows] = state.merit, now, moved
        keep = ~done
        rows, failures, present, target = rows[keep], failures[keep], present[keep], target[keep]
        if rows.size == 0:
            break
        state = state.only(keep)
        trial_x = state.log_x + _direction(state, failures)
        weight = np.where(present, np.exp(trial_x), 0.0).sum(axis=-1, keepdims=True)
        trial = _evaluate(
            vapour, activity, np.where(present, trial_x - np.log(weight), 0.0), state.merit, target, present
        )
        rises = trial.merit >= state.merit * (1.0 - ROUNDING)
        state = state.replaced(trial, rises)
        if not rises.all():
            # a merit is one Newton step in T and may stand too high by the square of that step: work it out once more,
            # or nothing could beat it
            left = ~rises
            again = _evaluate(vapour, activity, state.log_x[left], state.merit[left], target[left], present[left])
            state = state.spliced(again, left)
        failures = np.where(rises, 0, failures + 1)
    return final_T, final_x, size <= ACCEPTED


def _merit(vapour: VapourPressure, activity: Activity, x: Array, log_x: Array, target: Array, present: Flags) -> Array:
    """T*(x) of the starting liquids: Newton in 1/T on sum x r = 0."""
    T = np.full(len(x), 350.0)
    for _ in range(6):
        log_k, slope = ln_k(vapour, activity, x, T)
        mean = (x * np.where(present, target - log_x - log_k, 0.0)).sum(axis=-1)
        T = _improved(T, mean, (x * slope).sum(axis=-1))
    return T


def _improved(T: Array, mean: Array, mean_slope: Array) -> Array:
    """One Newton step in 1/T on sum x r = ``mean``, whose derivative by T is -``mean_slope``."""
    inverse = 1.0 / T - mean / (np.maximum(mean_slope, 1e-6) * T**2)
    return np.asarray(1.0 / np.clip(inverse, 1.0 / T_HIGHEST, 1.0 / T_LOWEST), dtype=np.float64)


def _direction(state: _State, failures: Array) -> Array:
    """Newton's step first (no ln x by more than 3), then the successive-substitution step, halved at each failure."""
    largest = np.abs(state.newton).max(axis=-1, keepdims=True)
    newton = state.newton * np.minimum(1.0, 3.0 / np.maximum(largest, 3.0))
    plain = np.clip(state.residual, -8.0, 8.0) * 0.5 ** np.maximum(failures - 1, 0)[:, None]
    use_newton = (failures == 0)[:, None] & (largest > 0.0)
    return np.where(use_newton, newton, plain)
