"""Whether a liquid found at a dew point is the stable one: tangent-plane distance to a net of other liquids.

A liquid x at the temperature T of its dew equations gives the highest dew point if and only if no liquid w has

    tpd(w, T) = sum_i w_i [ln w_i + ln gamma_i(w, T) + ln p_i(T) - ln(y_i P)] < 0

(Michelsen, Fluid Phase Equilib. 9 (1982) 1-19). Only the first two terms, g(w, T), need activities, and they depend
neither on y nor on P: they are worked out once for a net of liquids at four temperatures. For every vapour the distance
to the whole net is then one matrix product.
"""

from __future__ import annotations

import numpy as np

from fractionkit.mixture.activity import Activity
from fractionkit.mixture.arrays import Array, Flags, pairs
from fractionkit.mixture.vapour import VapourPressure

NET = {2: 161, 3: 25, 4: 10}
"""Points along each coordinate of the net, dense near the faces; more components are not screened."""
NODES = 4
MARGIN = {2: 0.03, 3: 0.03, 4: 0.12}
"""Share of the squared distance |w - x|^2 that tpd must exceed. A second liquid may lie between points of the net, whose
tpd is then up to 0.003 above its own (spacing 0.07, curvature 4): 0.03 x 0.4^2 is more; the net of four components is
2.5 times as coarse. It is less than half the curvature of any liquid that is not close to splitting, so that the liquid's
own surroundings do not count."""
ROUNDING = 1e-5
"""Error of the interpolation in temperature; 1e-5 in tpd is 3e-4 K."""
BLOCK = 2048
"""Vapours a matrix product, so that it stays in the cache."""


def net(n: int) -> Array:
    """Liquids (W, n) over the simplex: a fraction of the first, then of the rest, cosine-spaced."""
    axis = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, NET[n])))
    shares = np.stack(np.meshgrid(*[axis] * (n - 1), indexing="ij"), axis=-1).reshape(-1, n - 1)
    left = np.cumprod(1.0 - shares, axis=-1)
    points = np.concatenate([shares[:, :1], shares[:, 1:] * left[:, :-1], left[:, -1:]], axis=-1)
    return np.unique(points.round(12), axis=0)


def challengers(vapour: VapourPressure, activity: Activity, target: Array, T: Array, x: Array) -> tuple[Flags, Array]:
    """Return which liquids ``x`` (N, n) at ``T`` (N,) may not be the highest, and a better one (N, n) to start from.

    ``target`` (N, n) is ln(y P), at most -690 for an absent component. Rows whose T is not finite count as doubtful and
    are compared at the mean temperature.
    """
    n, margin = x.shape[-1], MARGIN[x.shape[-1]]
    known = np.isfinite(T)
    temperature = np.where(known, T, T[known].mean() if known.any() else 350.0)
    liquids = net(n)
    nodes, weights = _interpolation(temperature)
    state = activity.evaluate(liquids, nodes[:, None])
    g = _mixing(liquids) + (liquids * state.ln_gamma).sum(axis=-1) - margin * (liquids**2).sum(axis=-1)
    right = np.concatenate([g, liquids.T])
    left = np.concatenate([weights, vapour.ln(temperature)[0] - target + 2.0 * margin * x], axis=-1)
    best, least = np.empty(len(x), dtype=np.intp), np.empty(len(x))
    for start in range(0, len(x), BLOCK):
        rows = slice(start, start + BLOCK)
        distance = left[rows] @ right
        best[rows] = distance.argmin(axis=-1)
        least[rows] = np.take_along_axis(distance, best[rows, None], axis=-1)[:, 0]
    return ~known | (least < margin * (x**2).sum(axis=-1) - ROUNDING), liquids[best]


def parts(activity: Activity, x: Array, T: Array) -> Flags:
    """Whether liquids ``x`` (N, n) at ``T`` (N,) in K would part into two layers, (N,).

    They do where a liquid w of the net lies below the tangent plane: sum_i w_i [ln w_i + ln gamma_i(w) - ln x_i -
    ln gamma_i(x)] < 0 (Michelsen, Fluid Phase Equilib. 9 (1982) 1-19). Of five and more components only second liquids of two
    components are tried.
    """
    n = x.shape[-1]
    liquids = net(n) if n in NET else _edges(n)
    potential = np.log(np.maximum(x, 1e-300)) + activity.evaluate(x, T).ln_gamma
    nodes, weights = _interpolation(T)
    g = _mixing(liquids) + (liquids * activity.evaluate(liquids, nodes[:, None]).ln_gamma).sum(axis=-1)
    found = np.empty(len(x), dtype=bool)
    for start in range(0, len(x), BLOCK):
        rows = slice(start, start + BLOCK)
        found[rows] = (weights[rows] @ g - potential[rows] @ liquids.T).min(axis=-1) < -ROUNDING
    return found


def _mixing(liquids: Array) -> Array:
    """sum_i w_i ln w_i (W,)."""
    return np.asarray((liquids * np.log(np.where(liquids > 0.0, liquids, 1.0))).sum(axis=-1))


def _edges(n: int) -> Array:
    """Liquids (W, n) of two components each."""
    axis, found = net(2), []
    for pair in pairs(n):
        w = np.zeros((len(axis), n))
        w[:, list(pair)] = axis
        found.append(w)
    return np.concatenate(found)


def _interpolation(T: Array) -> tuple[Array, Array]:
    """Chebyshev nodes (4,) in 1/T over the temperatures, and Lagrange's weights (N, 4) of the nodes at each of them."""
    low, high = 1.0 / (T.max() + 1.0), 1.0 / (T.min() - 1.0)
    unit = np.cos((2.0 * np.arange(NODES) + 1.0) * np.pi / (2.0 * NODES))
    place = (2.0 / T - low - high) / (high - low)
    weights = np.ones((T.size, NODES))
    for k in range(NODES):
        for m in range(NODES):
            if m != k:
                weights[:, k] *= (place - unit[m]) / (unit[k] - unit[m])
    return 2.0 / (low + high + unit * (high - low)), weights
