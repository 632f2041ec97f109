"""What one more measurement would do, before it is made: preposterior analysis on joint draws, nothing fitted anew.

Draws d = 1..D of everything unknown carry what is wanted, q_d (the lot's assay), and what the measurement would read
without its own errors, m_d; with an error drawn for each, y_d = m_d + e_d is a reading that may come. One y_d in turn is
taken for the one that came and the draws are conditioned on it: moved along the regression of q on y, and for the interval
also weighted by how near their y_d are (Beaumont, Zhang and Balding, Genetics 162 (2002) 2025), which is exact for normal
quantities and keeps enough draws for the tails. Interval and decision follow, and are averaged over the readings that may
come (Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), chapter 4).

A measurement of many readings is first reduced to the combinations t = A y that say most of the quantities at stake,
A = cov(q, m) (cov(m) + R)^-1, the best linear predictors: weighting by many sharp readings at once would leave a
handful of draws to carry the answer. For normal q and m nothing is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

OUTCOMES = 160
TINY = 1e-12
NEAR = 0.5  # width of the weights in standard deviations of y


@dataclass(frozen=True)
class Candidate:
    """Lots that could be kept. surplus : (D, M) draws of sum m (w - purity); mass : (M,); current : the one kept now, -1
    where none is.
    """

    surplus: Array
    mass: Array
    current: int
    confidence: float

    def heaviest(self, chance: Array) -> NDArray[np.intp]:
        """The heaviest lot that meets the target with probabilities ``chance`` (O, M); -1 where none does."""
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
    came = ((np.arange(outcomes) + rng.random()) * count / outcomes).astype(int)
    y = reduced + rng.standard_normal(reduced.shape) @ np.linalg.cholesky(covariance).T
    y = _white(y)
    # The same draws dealt anew say nothing; what they seem to do is the noise of a finite number of draws.
    deaf = y[rng.permutation(count)]
    length, without = (_expected_length(stakes[:, :1], z[:, :1], came) for z in (y, deaf))
    now = half_width(stakes[:, 0])
    after = now * length / max(without, 1e-300)
    if lots is None:
        return Expected(now, after, 0.0)
    changes, noise_alone = (_changes(lots, z, came) for z in (y, deaf))
    # another decision by the reading or by noise: 1 - (1 - reading) (1 - noise)
    return Expected(now, after, max(changes - noise_alone, 0.0) / max(1.0 - noise_alone, 0.5))


def _expected_length(stake: Array, y: Array, came: NDArray[np.intp]) -> float:
    """Length of the central 95 % interval of ``stake`` (D, 1), averaged over the readings y (D, 1) that may come."""
    moved = conditioned(stake, y, y[came])[..., 0]
    return float(_central(np.clip(moved, stake.min(), stake.max()), _weights(y, y[came], NEAR)).mean())


def _changes(lots: Candidate, y: Array, came: NDArray[np.intp]) -> float:
    """Share of the readings that may come after which other lots are kept.

    Not weighted: near the stated confidence the noise of weights would pass for another decision.
    """
    chance = (conditioned(lots.surplus, y, y[came]) >= 0.0).mean(axis=1)
    return float((lots.heaviest(chance) != lots.current).mean())


def conditioned(values: Array, y: Array, came: Array) -> Array:
    """Draws (D, m) of ``values`` moved along their regression on white ``y`` (D, s) to each of ``came`` (O, s): (O, D, m)."""
    slope = y.T @ (values - values.mean(axis=0)) / len(y)
    return np.asarray((values - y @ slope)[None] + (came @ slope)[:, None, :])


def _white(y: Array) -> Array:
    """``y`` (D, s) with mean zero and unit covariance."""
    away = y - y.mean(axis=0)
    return np.asarray(np.linalg.solve(np.linalg.cholesky(away.T @ away / len(away)), away.T).T)


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


def _weights(y: Array, came: Array, width: float) -> Array:
    """Weights (O, D) of the draws by the distance of ``y`` (D, s) from each of ``came`` (O, s)."""
    distance = ((came[:, None, :] - y[None]) ** 2).sum(axis=-1)
    weights = np.exp(-0.5 * (distance - distance.min(axis=1, keepdims=True)) / width**2)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def half_width(values: Array) -> float:
    """Half the length of the shortest interval that holds 95 % of equally likely ``values`` (D,)."""
    ordered = np.sort(values)
    held = max(int(np.ceil(0.95 * len(ordered))), 1) - 1
    return 0.5 * float((ordered[held:] - ordered[: len(ordered) - held]).min())


def _central(values: Array, weights: Array) -> Array:
    """Length of the central 95 % interval of each row of ``values`` (O, D) under ``weights`` (O, D)."""
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    mass = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    last = values.shape[1] - 1
    low, high = (np.minimum((mass < level).sum(axis=1), last) for level in (0.025, 0.975))
    rows = np.arange(len(values))
    return np.asarray(ordered[rows, high] - ordered[rows, low])
