"""Fenske, Underwood and Gilliland beside the stage-by-stage answer: a check by other means, for the pair hardest to part.

The pair is taken alone, at constant relative volatility, over a pot that holds the charge; the pot counts as one stage.

Fenske, Ind. Eng. Chem. 24 (1932) 482: at total reflux x_D/(1 - x_D) = alpha^N z/(1 - z).
Underwood, Trans. Inst. Chem. Eng. 10 (1932) 112, for two components and a boiling liquid: the least reflux is that whose
operating line meets the equilibrium curve over the pot, R = (x_D - y)/(y - z), y = alpha z/(1 + (alpha - 1) z).
Gilliland, Ind. Eng. Chem. 32 (1940) 1220, as Eduljee wrote it, Hydrocarbon Process. 54 (9) (1975) 120:
(N - N_min)/(N + 1) = 0.75 (1 - ((R - R_min)/(R + 1))^0.5668).
All four from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

FACTOR, POWER = 0.75, 0.5668
BISECTIONS = 60
PUREST = 30.0
"""ln x/(1 - x) beyond which a drop counts as pure: digits end there."""
PRESENT = 1e-3
"""Mole fraction below which a component is no partner."""


@dataclass(frozen=True)
class Pair:
    """Target and the component hardest to part from it.

    light, heavy : places among the components. alpha : relative volatility in the boiling charge. z : mole fraction of
    the lighter in the pair.
    """

    light: int
    heavy: int
    alpha: float
    z: float


@dataclass(frozen=True)
class Shortcut:
    """What the equations say of one set-up.

    least_stages, least_reflux : for a first drop as pure as the target is to be, at total reflux and with endless stages.
    first_drop : mole fraction of the lighter one in the first drop of the pair, by Gilliland's correlation; model : by
    the distillation.
    """

    pair: Pair
    least_stages: float
    least_reflux: float
    first_drop: float
    model: float


def least_stages(alpha: ArrayLike, z: ArrayLike, top: ArrayLike) -> Array:
    """Stages (...) at total reflux, the pot counted, from ``z`` in the pot to ``top``, mole fractions of the lighter."""
    x, pot = np.asarray(top, dtype=np.float64), np.asarray(z, dtype=np.float64)
    return np.asarray(np.log(x / (1.0 - x) * (1.0 - pot) / pot) / np.log(alpha))


def least_reflux(alpha: ArrayLike, z: ArrayLike, top: ArrayLike) -> Array:
    """Reflux ratio (...) below which endless stages do not lift ``z`` to ``top``; 0 where one stage suffices."""
    pot, ratio = np.asarray(z, dtype=np.float64), np.asarray(alpha, dtype=np.float64)
    y = ratio * pot / (1.0 + (ratio - 1.0) * pot)
    return np.asarray(np.maximum((np.asarray(top, dtype=np.float64) - y) / (y - pot), 0.0))


def stages_needed(alpha: ArrayLike, z: ArrayLike, top: ArrayLike, reflux: ArrayLike) -> Array:
    """Stages (...) by Gilliland's correlation; infinite at or below the least reflux."""
    least, lowest = least_stages(alpha, z, top), least_reflux(alpha, z, top)
    R = np.asarray(reflux, dtype=np.float64)
    ratio = (R - lowest) / (R + 1.0)
    share = FACTOR * (1.0 - np.maximum(ratio, 0.0) ** POWER)
    return np.asarray(np.where(ratio > 0.0, (least + share) / (1.0 - share), np.inf))


def first_drop(alpha: float, z: float, stages: float, reflux: float) -> float:
    """Mole fraction of the lighter in the first drop that ``stages`` at ``reflux`` give by Gilliland's correlation."""
    if stages <= 1.0:
        return float(alpha * z / (1.0 + (alpha - 1.0) * z))
    low = np.log(z / (1.0 - z))
    high = min(low + stages * np.log(alpha), PUREST)  # total reflux
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        enough = bool(stages_needed(alpha, z, 1.0 / (1.0 + np.exp(-middle)), reflux) <= stages)
        low, high = (middle, high) if enough else (low, middle)
    return float(1.0 / (1.0 + np.exp(-low)))


def hardest_pair(mixture: Mixture, w: Array, pressure: float, component: int) -> Pair | None:
    """The pair of ``component`` with what boils closest to it in the charge ``w``.

    None for a charge of one substance, and for a pair with an azeotrope: its relative volatility is no constant, which is
    what these equations stand on.
    """
    x = mixture.mole_fractions(w)
    volatility = np.log(mixture.relative_volatility(x, pressure))
    gap = np.abs(volatility - volatility[component])
    gap[component] = np.inf
    gap[x < PRESENT] = np.inf
    other = int(gap.argmin())
    if not np.isfinite(gap[other]) or gap[other] < 1e-6 or x[component] <= 0.0:
        return None
    if mixture.azeotrope(component, other, pressure) is not None:
        return None
    light, heavy = (component, other) if volatility[component] > volatility[other] else (other, component)
    return Pair(light, heavy, float(np.exp(gap[other])), float(x[light] / (x[light] + x[heavy])))


def shortcut(pair: Pair, purity: float, stages: float, reflux: float, distillate: Array) -> Shortcut:
    """Hold a set-up against the equations; ``distillate`` (n,) mole fractions of the first drop of the model."""
    model = float(distillate[pair.light] / max(distillate[pair.light] + distillate[pair.heavy], 1e-300))
    enough = max(purity, pair.z)
    return Shortcut(
        pair,
        float(least_stages(pair.alpha, pair.z, enough)),
        float(least_reflux(pair.alpha, pair.z, enough)),
        first_drop(pair.alpha, pair.z, stages, reflux),
        model,
    )
