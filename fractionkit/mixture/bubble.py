"""Bubble point: Newton in 1/T on ln(sum x gamma p) = ln P inside a maintained bracket."""

from __future__ import annotations

import numpy as np

from fractionkit.errors import ConvergenceError
from fractionkit.mixture.activity import Activity
from fractionkit.mixture.arrays import Array
from fractionkit.mixture.vapour import T_HIGHEST, T_LOWEST, VapourPressure

ITERATIONS = 100
TOLERANCE = 1e-9
"""Relative size of the last step in 1/T. Newton's error is of the order of its square: far below 1e-9 K."""
BRACKET = 1e-14
"""Relative width at which a bracket is as narrow as rounding allows."""


def ln_k(vapour: VapourPressure, activity: Activity, x: Array, T: Array) -> tuple[Array, Array]:
    """Return ln(gamma_i p_i / Pa) and its derivative by T, both (..., n)."""
    pressure, pressure_slope = vapour.ln(T)
    liquid = activity.evaluate(x, T)
    return pressure + liquid.ln_gamma, pressure_slope + liquid.slope_t


def bubble_point(vapour: VapourPressure, activity: Activity, x: Array, P: Array) -> tuple[Array, Array]:
    """Return T (...) and y (..., n) of the vapour over a boiling liquid.

    ``x`` (..., n) and ``P`` (...) broadcast. The equation f(T) = ln sum_i x_i gamma_i p_i - ln P = 0 is nearly linear
    in 1/T, so Newton in 1/T takes four or five steps; f(T_LOWEST) < 0 < f(T_HIGHEST) is a bracket for any liquid of
    the catalogue at 1 kPa to 1 MPa, every evaluation shrinks it, and a step that would leave it is
    replaced by bisection (in 1/T). Gibbs-Duhem does not enter: y follows from T.

    Raises
    ------
    ConvergenceError
        if a point has not converged after 100 steps (bisection alone needs 45, so this means a NaN).
    """
    shape = np.broadcast_shapes(x.shape[:-1], P.shape)
    n = x.shape[-1]
    liquid = np.broadcast_to(x, (*shape, n)).reshape(-1, n)
    target = np.log(np.broadcast_to(P, shape).reshape(-1))
    # Raoult's mean of the boiling points in 1/T is within tens of kelvin
    start = (liquid / vapour.boiling_point(np.exp(target))).sum(axis=-1)
    inverse = _solve(vapour, activity, liquid, target, np.clip(start, 1.0 / T_HIGHEST, 1.0 / T_LOWEST))
    T = 1.0 / inverse
    log_k, _ = ln_k(vapour, activity, liquid, T)
    y = liquid * np.exp(log_k - target[:, None])
    y /= y.sum(axis=-1, keepdims=True)
    return T.reshape(shape), y.reshape((*shape, n))


def _solve(vapour: VapourPressure, activity: Activity, x: Array, target: Array, start: Array) -> Array:
    """Return 1/T (N,) at the root; ``low`` and ``high`` bracket it in 1/T (f falls with 1/T)."""
    inverse = start.copy()
    low = np.full_like(start, 1.0 / T_HIGHEST)
    high = np.full_like(start, 1.0 / T_LOWEST)
    active = np.arange(start.size)
    for _ in range(ITERATIONS):
        u = inverse[active]
        log_k, slope = ln_k(vapour, activity, x[active], 1.0 / u)
        total, weighted = _log_sum(x[active], log_k, slope)
        f = total - target[active]
        low[active] = np.where(f > 0.0, u, low[active])
        high[active] = np.where(f > 0.0, high[active], u)
        # df/du = -T^2 df/dT
        step = f * u**2 / np.where(weighted > 0.0, weighted, np.inf)
        new = u + step
        lost = ~((new > low[active]) & (new < high[active])) | (weighted <= 0.0)
        done = np.abs(step) <= TOLERANCE * u  # the step is still taken
        new = np.where(lost & ~done, 0.5 * (low[active] + high[active]), new)
        inverse[active] = new
        finished = (done & (weighted > 0.0)) | (high[active] - low[active] <= BRACKET * u)
        active = active[~finished]
        if active.size == 0:
            return inverse
    raise ConvergenceError(f"no bubble point for {active.size} of {start.size} liquids, e.g. x = {x[active[0]]}")


def _log_sum(x: Array, log_k: Array, slope: Array) -> tuple[Array, Array]:
    """Return ln sum_i x_i K_i and its derivative sum_i y_i s_i, (N,); absent components do not enter."""
    top = np.where(x > 0.0, log_k, -np.inf).max(axis=-1, keepdims=True)
    terms = x * np.exp(np.minimum(log_k - top, 0.0))
    total = terms.sum(axis=-1)
    return np.log(total) + top[:, 0], (terms * slope).sum(axis=-1) / total
