"""What one more measurement would do, before it is made: preposterior analysis on joint draws, nothing fitted anew.

Draws d = 1..D of everything unknown carry what is wanted, q_d (the lot's assay), and what the measurement would read
without its own errors, m_d. One draw in turn is taken for the truth, a reading y = m_d + e is simulated, and all draws are
weighted by its likelihood; the interval of q and the decision follow, and are averaged over the simulated readings
(Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), chapter 4; sampling as Lindley, Ann. Math. Stat. 27 (1956)
986 defines the information of an experiment).

A measurement of many readings is first reduced to the combinations t = A y that say most of the quantities at stake,
A = cov(q, m) (cov(m) + R)^-1, the best linear predictors: weighting by many sharp readings at once would leave a handful
of draws to carry the answer. For normal q and m nothing is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

OUTCOMES = 200
TINY = 1e-12


@dataclass(frozen=True)
class Candidate:
    """Lots that could be kept. surplus : (D, M) draws of sum m (w - purity); mass : (M,); current : the one kept now, -1
    where none is.
    """

    surplus: Array
    mass: Array
    current: int
    confidence: float

    def decisions(self, weights: Array) -> NDArray[np.intp]:
        """The heaviest lot that meets the target, (O,) for weights (O, D); -1 where none does."""
        chance = weights @ (self.surplus >= 0.0).astype(float)
        fits = chance >= self.confidence
        best = np.argmax(np.where(fits, self.mass, -np.inf), axis=1)
        return np.where(fits.any(axis=1), best, -1).astype(np.intp)


@dataclass(frozen=True)
class Expected:
    """Half-width of the 95 % interval of the quantity now and on average after, and the chance of another decision."""

    now: float
    after: float
    changes: float


def expect(
    stakes: Array,
    reading: Array,
    noise: Array,
    lots: Candidate | None,
    *,
    outcomes: int = OUTCOMES,
    seed: int = 20240701,
) -> Expected:
    """Analyse one measurement.

    stakes : (D, s) draws of the quantities at stake, the first being the one whose interval is told. reading : (D, r) what
    the measurement would show without its own errors; noise : (r, r) covariance of these errors.
    """
    reduced, covariance = reduce_to(stakes, reading, noise)
    rng = np.random.default_rng(seed)
    count = len(stakes)
    truths = ((np.arange(outcomes) + rng.random()) * count / outcomes).astype(int)
    root = np.linalg.cholesky(covariance)
    shown = reduced[truths] + rng.standard_normal((outcomes, reduced.shape[1])) @ root.T
    first = _weights(shown[:, :1], reduced[:, :1], covariance[:1, :1])
    now = half_width(stakes[:, 0], np.full((1, count), 1.0 / count))[0]
    after = float(half_width(stakes[:, 0], first).mean())
    if lots is None:
        return Expected(float(now), after, 0.0)
    weights = first if reduced.shape[1] == 1 else _weights(shown, reduced, covariance)
    return Expected(float(now), after, float((lots.decisions(weights) != lots.current).mean()))


def reduce_to(stakes: Array, reading: Array, noise: Array) -> tuple[Array, Array]:
    """Best linear predictors of the stakes: (D, s) their values without the measurement's errors, (s, s) covariance of
    those. Each is scaled to a standard deviation of one in all; a second one that adds nothing to the first is left out.
    """
    away = reading - reading.mean(axis=0)
    spread = away.T @ away / len(away) + noise
    shared = (stakes - stakes.mean(axis=0)).T @ away / len(away)
    matrix = np.linalg.solve(spread, shared.T).T
    total = np.einsum("sr,rq,sq->s", matrix, spread, matrix)
    usable = total > TINY * max(float(total.max()), TINY)
    usable[0] = True
    matrix = matrix[usable] / np.sqrt(np.maximum(total[usable], 1e-300))[:, None]
    if len(matrix) > 1:
        overlap = float(matrix[0] @ spread @ matrix[1])
        if abs(overlap) > 0.995:
            matrix = matrix[:1]
    covariance = matrix @ noise @ matrix.T
    floor = (0.5 / np.sqrt(len(reading))) ** 2  # of all that it varies by: finer than the draws can tell
    return away @ matrix.T, covariance + floor * np.eye(len(matrix))


def _weights(shown: Array, reduced: Array, covariance: Array) -> Array:
    """Weights (O, D) of the draws after each simulated reading (O, s)."""
    inverse = np.linalg.inv(covariance)
    gap = shown[:, None, :] - reduced[None]
    exponent = -0.5 * np.einsum("ods,st,odt->od", gap, inverse, gap, optimize=True)
    weights = np.exp(exponent - exponent.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def half_width(values: Array, weights: Array) -> Array:
    """Half the length of the shortest 95 % interval of ``values`` (D,) under each of the weights (O, D)."""
    order = np.argsort(values)
    ordered = values[order]
    mass = np.cumsum(weights[:, order], axis=1)
    mass -= 0.5 * weights[:, order]
    tails = np.linspace(0.0, 0.05, 21)
    rows = np.arange(len(weights))
    curve = mass + 2.0 * rows[:, None]  # all distribution functions on end, two apart: one interpolation serves all
    places = np.tile(ordered, len(weights))
    low, high = (np.interp((tails + level) + 2.0 * rows[:, None], curve.ravel(), places) for level in (0.0, 0.95))
    # beyond a row's ends the curve runs on into the next row: held at its own least and greatest value
    low = np.where(tails <= mass[:, :1], ordered[0], low)
    high = np.where(tails + 0.95 >= mass[:, -1:], ordered[-1], high)
    return np.asarray(0.5 * (high - low).min(axis=1))
