"""From the best pair of marks on a grid to the best start and end between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]

OUTER, SIDE = 3, 7
"""Rounds over the one end of the receiver and marks tried in each; a round narrows to a third."""

GRID, INNER, PARTS = 2, 7, 6
"""Rounds over the other end before the last of its marks that meets the purity is bracketed, and where none does; and
parts that each divides its bracket into: 6^7 of some cells is below 1e-6 of the run."""

ROUNDING = 1e-10
"""What is asked above the purity, so that a receiver that just meets it does so wherever it is worked out again."""

SECANT, CLOSE = 10, 1e-7
"""Most steps from a bracket to the mark itself, and the part of it below which it is found."""


@dataclass(frozen=True)
class Found:
    """Starts and ends (R,) and what they are worth: kg, or below zero how far the assay falls short."""

    start: Array
    end: Array
    worth: Array


Judge = Callable[[Array, Array], tuple[Array, Array]]
"""Assay and mass (R, A, B) of the receivers between marks u (R, A) and v (R, A, B), whichever is the start."""


def rank(assay: Array, mass: Array, purity: float) -> Array:
    """Mass where the assay suffices; else how far it falls short, below zero, so that a search climbs towards it."""
    return np.asarray(np.where((assay >= purity) & (mass > 0.0), mass, assay - 2.0))


def refine(marks: Array, first: Index, last: Index, judge: Judge, purity: float, *, from_start: bool) -> Found:
    """Refine R receivers between marks ``first`` and ``last`` (R,) of the rising, finite ``marks``.

    For each of a few starts the last end that still meets the purity is bracketed, and the starts are drawn together
    around the best: the mass is smooth along that line, which a square of starts and ends would only touch here and
    there. A receiver that reaches to the last mark goes the other way round, ends outside and starts inside.
    """
    purity += ROUNDING
    top = len(marks) - 1
    swap = (last == top) & (first > 0) & (not from_start)
    outer, inner = np.where(swap, last, first), np.where(swap, first, last)
    u, width = marks[outer], _width(marks, outer)
    if from_start:
        width = np.zeros_like(width)
    v, reach = marks[inner], 2.0 * _width(marks, inner)
    grow = np.where(swap, -1.0, 1.0)
    steps = np.linspace(-1.0, 1.0, SIDE)
    rows = np.arange(len(u))
    worth = np.full(len(u), -np.inf)
    for _ in range(1 if from_start else OUTER):
        tried = np.clip(u[:, None] + width[:, None] * steps, marks[0], marks[-1])
        back, on = (np.clip(v + way * grow * reach, marks[0], marks[-1])[:, None] for way in (-1.0, 1.0))
        found, value = _last_good(judge, tried, back + 0.0 * tried, on + 0.0 * tried, purity)
        best = value.argmax(axis=1)
        u, v, worth = tried[rows, best], found[rows, best], value[rows, best]
        width = width / 3.0
    if not from_start:  # the outer end once more, as far as the inner one lets it
        out = np.clip(u - grow * 3.0 * width, marks[0], marks[-1])
        found, value = _last_good(judge, v[:, None], u[:, None], out[:, None], purity)
        better = value[:, 0] > worth
        u, worth = np.where(better, found[:, 0], u), np.where(better, value[:, 0], worth)
    return Found(np.minimum(u, v), np.maximum(u, v), worth)


def _last_good(judge: Judge, u: Array, back: Array, on: Array, purity: float) -> tuple[Array, Array]:
    """Mark v (R, A) between ``back`` and ``on`` with the most mass that meets the purity, for each u; and its worth."""
    parts = np.linspace(0.0, 1.0, PARTS + 1)
    for turn in range(INNER):
        v = back[..., None] + (on - back)[..., None] * parts
        assay, mass = judge(u, v)
        value = rank(assay, mass, purity)
        k = value.argmax(axis=-1)[..., None]
        worth = np.take_along_axis(value, k, axis=-1)
        low, high = np.where(worth > 0.0, k, np.maximum(k - 1, 0)), np.minimum(k + 1, PARTS)
        back, middle, on = (np.take_along_axis(v, i, axis=-1)[..., 0] for i in (low, k, high))
        if turn + 1 >= GRID and np.any(worth > 0.0):
            above, below = (np.take_along_axis(assay, i, axis=-1)[..., 0] - purity for i in (k, high))
            return _crossing(judge, u, (middle, on), (above, below), worth[..., 0], purity)
    return middle, worth[..., 0]


def _crossing(
    judge: Judge, u: Array, ends: tuple[Array, Array], slack: tuple[Array, Array], worth: Array, purity: float
) -> tuple[Array, Array]:
    """Last mark that meets the purity between one that does and one that does not; those without stay where they are.

    Regula falsi with halved weights (Illinois): a guarded assay is continuous along either end of a receiver.
    """
    (good, bad), (above, below) = ends, slack
    open_, width, side = (worth > 0.0) & (below < 0.0), np.abs(bad - good), np.zeros_like(worth)
    for _ in range(SECANT):
        if not np.any(open_ & (np.abs(bad - good) > CLOSE * width)):
            break
        part = np.where(open_, above / np.where(open_, above - below, 1.0), 0.0)
        tried = good + np.clip(part, 0.02 * (side < 0.0), 1.0 - 0.02 * (side > 0.0)) * (bad - good)
        assay, mass = (values[..., 0] for values in judge(u, tried[..., None]))
        fits, misses = open_ & (assay >= purity) & (mass >= worth), open_ & (assay < purity)
        below = np.where(misses, assay - purity, np.where(fits & (side > 0.0), 0.5 * below, below))
        above = np.where(fits, assay - purity, np.where(misses & (side < 0.0), 0.5 * above, above))
        good, bad = np.where(fits, tried, good), np.where(misses, tried, bad)
        worth, side = np.where(fits, mass, worth), np.where(fits, 1.0, -1.0)
        open_ &= fits | misses
    return good, worth


def _width(marks: Array, at: Index) -> Array:
    """The wider of the cells beside marks ``at``."""
    top = len(marks) - 1
    return np.maximum(marks[np.minimum(at + 1, top)] - marks[at], marks[at] - marks[np.maximum(at - 1, 0)])
