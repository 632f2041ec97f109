"""Where liquid and vapour have the same composition, and where two liquids boil together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fractionkit.mixture.activity import Activity
from fractionkit.mixture.arrays import Array, pairs
from fractionkit.mixture.bubble import bubble_point, ln_k
from fractionkit.mixture.dew import dew_point
from fractionkit.mixture.vapour import VapourPressure

SPLIT_TEMPERATURES = (250.0, 290.0, 330.0, 370.0, 420.0)
GRID = 65
ZOOMS = 9
"""64^9 > 1e16: a grid zoomed nine times has shrunk to rounding."""
LEAST_JUMP = 1e-3
"""Two liquids closer than this mole fraction are one."""


@dataclass(frozen=True)
class AzeotropePoint:
    """A binary liquid that boils without change.

    T : K;  x, w : (2,) mole and mass fractions of the vapour, in the order of the pair asked for.
    liquids : None for one liquid of the same composition, else the mole fractions (2, 2) of the two liquids.
    """

    T: float
    x: Array
    w: Array
    liquids: Array | None = None


def select(vapour: VapourPressure, activity: Activity, index: tuple[int, ...]) -> tuple[VapourPressure, Activity]:
    """Constants of some of the components, in the order of ``index``."""
    i = np.array(index)
    some = replace(
        vapour,
        A=vapour.A[i], B=vapour.B[i], C=vapour.C[i], t_min=vapour.t_min[i], t_max=vapour.t_max[i],
        u_ln=vapour.u_ln[i], shift=vapour.shift[i],
    )  # fmt: skip
    return some, activity.select(i)


def stability(activity: Activity, x: Array, T: Array) -> Array:
    """Smallest eigenvalue (...) of the scaled Hessian of g/RT; a liquid is locally stable where it is positive.

    B_ij = delta_ij + sqrt(x_i x_j) N d ln gamma_i/dn_j (Michelsen, Fluid Phase Equilib. 9 (1982) 1-19); sqrt(x) is
    always an eigenvector with eigenvalue one.
    """
    dx = activity.evaluate(x, T, jacobian=True).slope_x
    assert dx is not None
    root = np.sqrt(x)
    scaled = root[..., :, None] * root[..., None, :] * dx + np.eye(x.shape[-1])
    return np.asarray(np.linalg.eigvalsh(scaled)[..., 0], dtype=np.float64)


def may_split(activity: Activity) -> bool:
    """Whether some liquid of the components is unstable, or nearly so, between 250 and 420 K.

    Binary edges on a grid that is dense near the ends, and for three or more components also a fixed sample of the
    inside with a wider margin. True costs only time.
    """
    if activity.ideal:
        return False
    n = activity.a.shape[0]
    T = np.array(SPLIT_TEMPERATURES)[:, None]
    edge = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 201)[1:-1]))
    samples = []
    for i, j in pairs(n):
        x = np.zeros((edge.size, n))
        x[:, i], x[:, j] = edge, 1.0 - edge
        samples.append(x)
    if bool((stability(activity, np.concatenate(samples), T) < 0.02).any()):
        return True
    if n < 3:
        return False
    inside = np.random.default_rng(20).dirichlet(np.full(n, 0.7), 400)
    return bool((stability(activity, inside, T) < 0.15).any())


def azeotrope(
    vapour: VapourPressure, activity: Activity, M: Array, pair: tuple[int, int], P: float
) -> AzeotropePoint | None:
    """Azeotrope of a pair at ``P``: of two liquids if they do not mix there, else of one liquid, else None.

    One liquid: sign change of ln(K_1/K_2) along the bubble curve, zoomed; a root in an unstable liquid is discarded.
    Of several the one farthest from the pure ends' boiling points is taken.
    """
    hetero = immiscible_boiling_point(vapour, activity, M, pair, P)
    if hetero is not None:
        return hetero
    two, liquid = select(vapour, activity, pair)
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 257)))
    difference = _log_volatility(two, liquid, x, P)
    found: list[AzeotropePoint] = []
    for k in np.flatnonzero(difference[:-1] * difference[1:] < 0.0):
        root = _zoom(two, liquid, float(x[k]), float(x[k + 1]), P)
        composition = np.array([root, 1.0 - root])
        T, _ = bubble_point(two, liquid, composition, np.asarray(P))
        if stability(liquid, composition, T) > 0.0:
            found.append(_point(float(T), composition, M[list(pair)], None))
    if not found:
        return None
    middle = float(two.boiling_point(np.asarray(P)).mean())
    return max(found, key=lambda point: abs(point.T - middle))


def _log_volatility(vapour: VapourPressure, activity: Activity, x: Array, P: float) -> Array:
    composition = np.stack([x, 1.0 - x], axis=-1)
    T, _ = bubble_point(vapour, activity, composition, np.asarray(P))
    log_k, _ = ln_k(vapour, activity, composition, T)
    return log_k[:, 0] - log_k[:, 1]


def _zoom(vapour: VapourPressure, activity: Activity, low: float, high: float, P: float) -> float:
    for _ in range(ZOOMS):
        x = np.linspace(low, high, GRID)
        value = _log_volatility(vapour, activity, x, P)
        change = np.flatnonzero(value[:-1] * value[1:] <= 0.0)
        if change.size == 0:
            break
        low, high = float(x[change[0]]), float(x[change[0] + 1])
        if high - low < 1e-14:
            break
    return 0.5 * (low + high)


def immiscible_boiling_point(
    vapour: VapourPressure, activity: Activity, M: Array, pair: tuple[int, int], P: float
) -> AzeotropePoint | None:
    """Boiling point and vapour of two liquid phases of a pair, None where they mix or boil apart.

    Along the dew curve of a pair that splits, the first liquid jumps from one branch to the other where both
    branches have the same temperature: there the vapour is in equilibrium with both liquids. The jump is bracketed
    and zoomed. For liquids that do not dissolve each other this is the condition of steam distillation, p_1 + p_2 = P.
    """
    two, liquid = select(vapour, activity, pair)
    if not may_split(liquid):
        return None
    low, high = 0.0, 1.0
    ends = np.zeros((2, 2))
    T = y = np.nan
    for _ in range(ZOOMS):
        grid = np.linspace(low, high, GRID)
        temperature, x = dew_point(two, liquid, np.stack([grid, 1.0 - grid], axis=-1), np.asarray(P), may_split=True)
        jump = int(np.abs(np.diff(x[:, 0])).argmax())
        low, high = float(grid[jump]), float(grid[jump + 1])
        ends, T, y = x[jump : jump + 2], float(temperature[jump]), 0.5 * (low + high)
        if high - low < 1e-13:
            break
    if ends[1, 0] - ends[0, 0] < LEAST_JUMP or not ends[0, 0] < y < ends[1, 0]:
        return None
    return _point(T, np.array([y, 1.0 - y]), M[list(pair)], ends.copy())


def _point(T: float, x: Array, M: Array, liquids: Array | None) -> AzeotropePoint:
    mass = x * M
    return AzeotropePoint(T, x, mass / mass.sum(), liquids)
