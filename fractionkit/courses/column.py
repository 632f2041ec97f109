"""What a column of theoretical stages takes off a pot: the one rule that a course of distillation repeats.

A stage's vapour is in equilibrium with its liquid, y_i ~ alpha_i x_i, and between two stages y = rho x + (1 - rho) x_D, with
rho = R/(R + 1) of the vapour coming back (constant molal overflow, Sorel, La rectification de l'alcool, 1893; McCabe and
Thiele, Ind. Eng. Chem. 17 (1925) 605). From the distillate x_D these two lead down to the pot, step by step, and at total
reflux to Fenske's x_Di/x_Dj = (alpha_i/alpha_j)^N x_i/x_j (Ind. Eng. Chem. 24 (1932) 482). The pot is known and the distillate
asked for: what the steps miss the pot by is what the distillate is changed by, component by component, which at total reflux
is exact at once; near a sharp front it takes a few rounds, begun from the enrichment just before.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST = 1e-30  # mole fraction that stands for nothing
LEAST_TAKEN = 1e-11  # of the rate of the component that leaves fastest
FARTHEST = 7.0  # logarithm by which a distillate is changed at once


@dataclass(frozen=True)
class Column:
    """M columns. stages : (M,) theoretical stages, the pot counting as one, of which a part may be taken. volatility : (T, n - 1)
    coefficients of ln alpha of every component but the heaviest against it, see `terms`. wrong : (n, n, M) symmetric amplitudes
    A of the errors of activity in g^E/RT = sum A_ij x_i x_j: of ln alpha_ij it is (A x)_i - (A x)_j.
    """

    stages: Array
    volatility: Array
    wrong: Array

    def rates(self, pot: Array, before: Array | None, coming_back: Array, rounds: int) -> Array:
        """x_D/x (n, M) of a pot with mole fractions (n, M), greatest 1. before : the same just before, None at the start.

        coming_back : rho (M,).
        """
        x = np.maximum(pot, LEAST)
        ln_x, ln_alpha = np.log(x), self._ln_alpha(x)
        top = x * (np.exp(ln_alpha - ln_alpha.max(axis=0)) if before is None else before)
        top /= top.sum(axis=0)
        for _ in range(rounds):
            top = top * np.exp(np.clip(ln_x - self._ln_pot(top, ln_alpha, coming_back), -FARTHEST, FARTHEST))
            top = np.maximum(top / top.sum(axis=0), LEAST)
        found = top / x
        return np.asarray(np.maximum(found / found.max(axis=0), LEAST_TAKEN))

    def _ln_pot(self, top: Array, below: Array, coming_back: Array) -> Array:
        """Logarithm of the mole fractions (n, M) in the pot from which ``top`` (n, M) comes; below : (n, M) its ln alpha.

        Along the column ln alpha goes evenly from its value at the top to that in the pot. Between two whole numbers of
        stages the pot is interpolated in the logarithm.
        """
        most = max(int(np.ceil(self.stages.max())), 1)
        above = self._ln_alpha(top)
        step = np.exp((above - below) / self.stages)
        less = np.exp(-above) * np.sqrt(step)  # 1/alpha on the first stage, then on the next
        liquid = np.empty((most + 1, *top.shape))
        liquid[0] = vapour = top
        taken = (1.0 - coming_back) * top
        for k in range(1, most + 1):
            found = np.multiply(vapour, less, out=liquid[k])
            found /= found.sum(axis=0)
            if k < most:
                less = less * step
                vapour = coming_back * found + taken
        whole = np.minimum(self.stages.astype(np.intp), most - 1)
        part = self.stages - whole
        column = np.arange(top.shape[1])
        few, more = (np.log(liquid[k, :, column].T) for k in (whole, whole + 1))
        return np.asarray((1.0 - part) * few + part * more)

    def _ln_alpha(self, x: Array) -> Array:
        """Of every component against the heaviest, (n, M)."""
        found = (self.wrong * x).sum(axis=1)
        found -= found[-1].copy()
        found[:-1] += self.volatility.T @ terms(x)
        return np.asarray(found)


def terms(x: Array) -> Array:
    """1, x_i and x_i x_j of the first n - 1 components: (n, M) -> (T, M)."""
    free = x[:-1]
    i, j = _pairs(len(free))
    return np.concatenate([np.ones_like(x[:1]), free, free[i] * free[j]])


@lru_cache
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.triu_indices(count)
