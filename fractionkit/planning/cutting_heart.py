"""The largest receiver that meets a purity: guarded over the scenarios, and for each scenario by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.cutting_curve import By, Collected

Array = NDArray[np.float64]

NODES = 72
"""Marks between which a heart is first sought; the best pair is then zoomed into."""

ROUNDS, SIDE, SHRINK = 8, 11, 3.0
"""Zooms, marks a side in each, and how much a zoom shrinks: 3^8 of a cell is about a millionth of the run."""

EMPTY = 1e-9
"""Part of the charge below which a receiver holds nothing, and so meets nothing."""


@dataclass(frozen=True)
class Pairs:
    """All receivers [i, j] between marks: first, last (P,) mark numbers; assay, mass (P, S) of each scenario."""

    first: NDArray[np.intp]
    last: NDArray[np.intp]
    assay: Array
    mass: Array


def guard_rank(confidence: float, scenarios: int) -> int:
    """Place in rising order that at least ``confidence`` of the scenarios reach or exceed."""
    return min(int(np.floor((1.0 - confidence) * scenarios + 1e-9)), scenarios - 1)


def guarded(values: Array, confidence: float) -> Array:
    """The value (...) that at least ``confidence`` of the scenarios on the last axis reach: guarded acceptance.

    JCGM 106:2012, 8.3: accept where the probability of conformity is at least the stated confidence.
    """
    k = guard_rank(confidence, values.shape[-1])
    return np.asarray(np.partition(values, k, axis=-1)[..., k])


def all_pairs(curve: Collected, amounts: Array, component: int, *, from_start: bool) -> Pairs:
    """Every receiver between two marks, given what is over at each, (S, G, n) kg."""
    count = amounts.shape[1]
    first, last = np.triu_indices(1 if from_start else count, 1, count)
    target = np.ascontiguousarray(amounts[..., component].T)
    total = np.ascontiguousarray(amounts.sum(axis=-1).T)
    mass = total[last] - total[first]
    return Pairs(first, last, _assay(target[last] - target[first], mass, curve), mass)


def _assay(target: Array, mass: Array, curve: Collected) -> Array:
    """Mass fraction of the target in receivers, scenarios on the last axis; 0 where there is nothing."""
    least = EMPTY * curve.charge.sum(axis=-1)
    held = mass > least
    return np.asarray(np.where(held, np.clip(target / np.where(held, mass, 1.0), 0.0, 1.0), 0.0))


def best_pair(
    curve: Collected,
    marks: Array,
    pairs: Pairs,
    component: int,
    confidence: float,
    by: By,
    *,
    purity: float,
    from_start: bool,
) -> tuple[tuple[float, float] | None, float]:
    """Marks (start, end) of the receiver of largest mean mass that meets the purity with the confidence, or None.

    Also the highest assay that any receiver has with that confidence.
    """
    level = guarded(pairs.assay, confidence)
    size = pairs.mass.mean(axis=-1)
    fits = level >= purity

    def search(best: int, wanted: float) -> tuple[float, float, float]:
        def score(a: Array, b: Array) -> Array:
            made = curve.at(b[0], by)[:, None, :, :] - curve.at(a[0], by)[:, :, None, :]
            mass = np.moveaxis(made.sum(axis=-1), 0, -1)
            assay = guarded(_assay(np.moveaxis(made[..., component], 0, -1), mass, curve), confidence)
            return _rank(assay, mass.mean(axis=-1), wanted)[None]

        i, j = pairs.first[best : best + 1], pairs.last[best : best + 1]
        a, b, worth = _zoom(marks, i, j, score, from_start=from_start)
        return float(a[0]), float(b[0]), float(worth[0])

    if fits.any():
        a, b, worth = search(int(np.where(fits, size, -1.0).argmax()), purity)
        return (a, b), float(level.max())
    # a receiver narrower than a cell may still do: climb from where the guarded assay is highest
    a, b, worth = search(int(level.argmax()), purity)
    if worth > 0.0:
        return (a, b), max(purity, float(level.max()))
    return None, max(worth + 2.0, float(level.max()))


def best_each(
    curve: Collected, marks: Array, pairs: Pairs, component: int, purity: float, *, from_start: bool
) -> Array:
    """Kilograms (S,) of the best cut of each scenario, were it known: marks by mass."""
    fits = pairs.assay >= purity
    size = np.where(fits, pairs.mass, -1.0)
    best = np.where(fits.any(axis=0), size.argmax(axis=0), pairs.assay.argmax(axis=0))

    def score(a: Array, b: Array) -> Array:
        made = curve.at_mass(b)[:, None, :, :] - curve.at_mass(a)[:, :, None, :]
        mass = made.sum(axis=-1)
        least = (EMPTY * curve.charge.sum(axis=-1))[:, None, None]
        assay = np.where(mass > least, made[..., component] / np.maximum(mass, least), 0.0)
        return _rank(assay, mass, purity)

    _, _, worth = _zoom(marks, pairs.first[best], pairs.last[best], score, from_start=from_start)
    return np.maximum(worth, 0.0)


def most_at(levels: Array, assay: Array, mass: Array) -> Array:
    """Most mass (S, L) of any receiver whose assay is at least each of the rising ``levels`` (L,); 0 where none is.

    ``assay`` and ``mass`` are (P, S).
    """
    scenarios = assay.shape[1]
    place = np.searchsorted(levels, assay, side="right")
    best = np.zeros((scenarios, len(levels) + 1))
    np.maximum.at(best, (np.broadcast_to(np.arange(scenarios), assay.shape), place), mass)
    return np.asarray(np.maximum.accumulate(best[:, ::-1], axis=1)[:, ::-1][:, 1:])


def _rank(assay: Array, mass: Array, purity: float) -> Array:
    """Mass where the assay suffices; else how far it falls short, below zero, so that a search climbs towards it."""
    return np.asarray(np.where((assay >= purity) & (mass > 0.0), mass, assay - 2.0))


def _zoom(
    marks: Array,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    score: Callable[[Array, Array], Array],
    *,
    from_start: bool,
) -> tuple[Array, Array, Array]:
    """Refine starts and ends (R,) about marks ``first`` and ``last``; return them and their score.

    The best of a small square of starts and ends is the middle of the next, smaller one. Ends stay where they are if
    they lie at an end of the marks, which need not be finite there; starts all stay with ``from_start``.
    """
    top = len(marks) - 1
    finite = np.isfinite(marks)
    inner = np.where(finite, marks, marks[1] if top > 1 else 0.0)
    if top > 1 and not finite[-1]:
        inner[-1] = marks[-2]
    a, b = inner[first], inner[last]
    width_a = np.maximum(inner[np.minimum(first + 1, top)] - a, a - inner[np.maximum(first - 1, 0)])
    width_b = np.maximum(inner[np.minimum(last + 1, top)] - b, b - inner[np.maximum(last - 1, 0)])
    if from_start:
        width_a = np.zeros_like(a)
    a, b = marks[first].copy(), marks[last].copy()
    rows = np.arange(len(first))
    steps = np.linspace(-1.0, 1.0, SIDE)
    for _ in range(ROUNDS):
        starts = np.sort(np.clip(a[:, None] + width_a[:, None] * steps, marks[0], marks[-1]), axis=1)
        ends = np.sort(np.clip(b[:, None] + width_b[:, None] * steps, marks[0], marks[-1]), axis=1)
        worth = score(starts, ends).reshape(len(first), -1)
        best = worth.argmax(axis=1)
        a, b = starts[rows, best // SIDE], ends[rows, best % SIDE]
        width_a, width_b = width_a / SHRINK, width_b / SHRINK
    return a, b, worth[rows, best]
