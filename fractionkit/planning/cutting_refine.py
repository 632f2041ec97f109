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

INNER, PARTS = 7, 6
"""Rounds over the other end, and parts that each divides its bracket into: 6^7 of some cells is below 1e-6 of the run."""


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
    for _ in range(INNER):
        v = back[..., None] + (on - back)[..., None] * parts
        value = rank(*judge(u, v), purity)
        k = value.argmax(axis=-1)[..., None]
        worth = np.take_along_axis(value, k, axis=-1)
        low, high = np.where(worth > 0.0, k, np.maximum(k - 1, 0)), np.minimum(k + 1, PARTS)
        back, middle, on = (np.take_along_axis(v, i, axis=-1)[..., 0] for i in (low, k, high))
    return middle, worth[..., 0]


def _width(marks: Array, at: Index) -> Array:
    """The wider of the cells beside marks ``at``."""
    top = len(marks) - 1
    return np.maximum(marks[np.minimum(at + 1, top)] - marks[at], marks[at] - marks[np.maximum(at - 1, 0)])
