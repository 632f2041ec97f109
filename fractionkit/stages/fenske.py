"""Stages at total reflux between a pot and what comes over: Fenske's number, counted stage by stage.

M. R. Fenske, Ind. Eng. Chem. 24 (1932) 482: at total reflux the vapour of one stage is the liquid of the next, so the
ratio of two components grows by their relative volatility at every stage. Where that is constant,
N = ln[(y_a/y_b)/(x_a/x_b)] / ln alpha; where it is not, stages are stepped off and the last one is counted in part by
the logarithm of the ratio.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.still.equilibrium import Equilibrium

Array = NDArray[np.float64]

MOST = 60


def total_reflux_stages(
    mixture: Equilibrium, pot: Array, head: Array, pressure: float, light: int, heavy: int, most: int = MOST
) -> Array:
    """Theoretical stages (...), the pot counted as one, between pot and distillate, mole fractions (..., n).

    A head poorer than the pot gives less than 0; beyond ``most`` stages, ``most``. ``light`` and ``heavy`` number the
    two components whose ratio is followed.
    """
    x = np.maximum(np.asarray(pot, dtype=np.float64), 1e-12)
    y = np.maximum(np.asarray(head, dtype=np.float64), 1e-12)
    wanted = np.log(y[..., light] / y[..., heavy])
    liquid = np.broadcast_to(x, np.broadcast_shapes(x.shape, y.shape)).copy()
    here = np.log(liquid[..., light] / liquid[..., heavy])
    found = np.full(here.shape, np.nan)
    for stage in range(most):
        _, liquid = mixture.bubble_point(liquid, pressure)
        liquid = np.maximum(liquid, 1e-12)
        above = np.log(liquid[..., light] / liquid[..., heavy])
        rise = above - here
        part = (wanted - here) / np.where(rise == 0.0, np.nan, rise)
        reached = np.isnan(found) & ((wanted <= above) | (rise <= 0.0))
        found = np.where(reached, stage + part, found)
        here = above
        if not np.isnan(found).any():
            break
    return np.where(np.isnan(found), float(most), np.clip(found, -float(most), float(most)))


def key_pair(volatility: Array, pot: Array, head: Array) -> tuple[int, int]:
    """Light and heavy of the neighbours in volatility that pot (n,) and head (n,) hold most of."""
    order = np.argsort(-volatility)
    both = np.sqrt(np.maximum(pot * head, 0.0))
    pairs = list(zip(order[:-1].tolist(), order[1:].tolist(), strict=True))
    return max(pairs, key=lambda pair: float(both[pair[0]] * both[pair[1]]))
