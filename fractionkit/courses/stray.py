"""How far a cut strays from the course of the distillation.

In the coordinates w_1, w_2/(1 - w_1), ... each cut is a logistic distribution of its logits about the course's. In mass
fractions that is a standard deviation of STRAY sqrt(w (1 - w) + EDGE): of simulated distillations the cuts lie as near to
the course fitted to them (1 to 8 stages, reflux ratios 1 to 6, seven mixtures of three and four components, another model of
the liquid; tests/proof/simulate.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STRAY, EDGE = 0.03, 0.003
SLIP = 0.01  # of the cuts nothing is known from the course: a wet first cut, a bumped pot, one spilt
DEVIATION = math.pi / math.sqrt(3.0)  # standard deviation of a logistic distribution of scale 1
FEW = 1e-30
LARGE = 700.0


@dataclass(frozen=True)
class About:
    """Logits of courses in those coordinates, (..., n - 1), and the scales of the logistic distributions about them."""

    centre: Array
    scale: Array

    @classmethod
    def of(cls, w: Array) -> About:
        """From mass fractions (..., n)."""
        rest = np.maximum(np.cumsum(w[..., :0:-1], axis=-1)[..., ::-1], FEW)
        own = np.maximum(w[..., :-1], FEW)
        spread = STRAY * np.sqrt(1.0 / (own + EDGE) + 1.0 / (rest + EDGE))
        return cls(np.log(own / rest), spread / DEVIATION)

    def fractions(self, off: Array) -> Array:
        """Mass fractions (..., n) of cuts that lie ``off`` (..., n - 1) scales from the course."""
        part = 1.0 / (1.0 + np.exp(-np.clip(self.centre + self.scale * off, -LARGE, LARGE)))
        rest = np.cumprod(1.0 - part, axis=-1)
        found = np.concatenate([part, rest[..., -1:]], axis=-1)
        found[..., 1:-1] *= rest[..., :-1]
        return found


def log_density(off: Array) -> Array:
    """Of cuts that lie ``off`` (..., n - 1) scales from their course: (...)."""
    return np.asarray(-(np.abs(off) + 2.0 * np.log1p(np.exp(-np.abs(off)))).sum(axis=-1))
