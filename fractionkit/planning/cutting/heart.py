"""The largest receiver that meets a purity: guarded over the scenarios, and for each scenario by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.cutting.curve import By, Collected
from fractionkit.planning.cutting.refine import refine

Array = NDArray[np.float64]

NODES = 72
"""Marks between which a heart is first sought; the best pair is then refined."""

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

    def judge(u: Array, v: Array) -> tuple[Array, Array]:
        assay, mass = _between(curve, curve.masses(u[0], by), curve.masses(v[0].ravel(), by), component)
        kept = np.moveaxis(mass, 0, -1).mean(axis=-1)
        return guarded(np.moveaxis(assay, 0, -1), confidence)[None], kept[None]

    # where none fits, a receiver narrower than a cell may still do: climb from where the guarded assay is highest
    k = int((stretched(pairs, level[:, None], size[:, None], purity) if fits.any() else level).argmax())
    found = refine(marks, pairs.first[k : k + 1], pairs.last[k : k + 1], judge, purity, from_start=from_start)
    if found.worth[0] <= 0.0:
        return None, max(float(found.worth[0]) + 2.0, float(level.max()))
    start, end = float(found.start[0]), float(found.end[0])
    return _named(marks, start, end, by), max(float(level.max()), 0.0 if fits.any() else purity)


def _named(marks: Array, start: float, end: float, by: By) -> tuple[float, float]:
    """Head temperatures beyond all that is read are the first drop, -inf, and the end, inf."""
    if by == "mass":
        return start, end
    return -np.inf if start <= marks[1] else start, np.inf if end > marks[-2] else end


def _between(curve: Collected, u: Array, v: Array, component: int) -> tuple[Array, Array]:
    """Assay and mass (S, A, B) of receivers between masses u (S, A) and v (S, A * B), whichever is the start."""
    u, v = np.minimum(u, curve.end[:, None]), np.minimum(v, curve.end[:, None])
    target = curve.one_at_mass(v, component).reshape(*u.shape, -1) - curve.one_at_mass(u, component)[..., None]
    total = v.reshape(*u.shape, -1) - u[..., None]  # a cubic through sums that rise as the mass does is the mass
    mass = np.abs(total)
    held = mass > (EMPTY * curve.charge.sum(axis=-1))[:, None, None]
    assay = np.where(held, np.clip(target / np.where(held, total, 1.0), 0.0, 1.0), 0.0)
    return assay, mass


def stretched(pairs: Pairs, assay: Array, mass: Array, purity: float) -> Array:
    """Mass (P, R) of each receiver drawn out to where it just meets the purity, -1 where it does not meet it.

    Linear between neighbouring marks, at the start or at the end: receivers on a grid differ by whole cells, and the
    largest of them may lie many cells from the best one.
    """
    longest = int(pairs.last.max())
    drawn = np.zeros(mass.shape)
    for step in (1, -1):
        shorter = pairs.last < longest if step == 1 else pairs.first > 0
        # in rows of equal start, the next end is the next pair; the same end from the start before is a row back
        here = np.flatnonzero(shorter)
        there = here + (1 if step == 1 else -1) * (1 if step == 1 else longest - pairs.first[here])
        slack, loss = assay[here] - purity, assay[here] - assay[there]
        good = (slack >= 0.0) & (loss > slack)
        part = np.where(good, slack, 0.0) / np.where(good, loss, 1.0)
        drawn[here] = np.maximum(drawn[here], part * (mass[there] - mass[here]))
    return np.asarray(np.where(assay >= purity, mass + drawn, -1.0))


@dataclass(frozen=True)
class Heart:
    """The receiver to keep: marks ``start`` and ``end`` (kg or K as read), and ``masses`` (S, 2) kg over at both.

    probability : part of the scenarios in which it meets the purity; kept : mean kg in it.
    """

    by: By
    start: float
    end: float
    masses: Array
    probability: float
    kept: float


def best_heart(
    curve: Collected,
    component: int,
    purity: float,
    confidence: float,
    *,
    nodes: int = NODES,
    from_start: bool = False,
) -> Heart | None:
    """The better of the best receivers changed by mass and by head temperature, None where neither meets the purity.

    ``nodes`` marks are tried as start and end before the best pair is refined.
    """
    found = []
    ways: tuple[By, ...] = ("mass", "head")
    for watched in ways:
        marks = curve.nodes(nodes, watched)
        amounts = curve.at(marks, watched)
        pairs = all_pairs(curve, amounts, component, from_start=from_start)
        best, _ = best_pair(curve, marks, pairs, component, confidence, watched, purity=purity, from_start=from_start)
        if best is None:
            continue
        over = curve.at(np.array(best), watched)
        made = over[:, 1] - over[:, 0]
        mass = made.sum(axis=-1)
        meets = _assay(made[:, component], mass, curve) >= purity
        heart = Heart(watched, *best, over.sum(axis=-1), float(meets.mean()), float(mass.mean()))
        found.append(heart)
    return max(found, key=lambda heart: heart.kept, default=None)


def best_each(
    curve: Collected, marks: Array, pairs: Pairs, component: int, purity: float, *, from_start: bool
) -> Array:
    """Kilograms (S,) of the best cut of each scenario, were it known: marks by mass."""
    fits = pairs.assay >= purity
    size = stretched(pairs, pairs.assay, pairs.mass, purity)
    best = np.where(fits.any(axis=0), size.argmax(axis=0), pairs.assay.argmax(axis=0))

    def judge(u: Array, v: Array) -> tuple[Array, Array]:
        return _between(curve, u, v.reshape(len(v), -1), component)

    found = refine(marks, pairs.first[best], pairs.last[best], judge, purity, from_start=from_start)
    return np.maximum(found.worth, 0.0)


def most_at(levels: Array, assay: Array, mass: Array) -> Array:
    """Most mass (S, L) of any receiver whose assay is at least each of the rising ``levels`` (L,); 0 where none is.

    ``assay`` and ``mass`` are (P, S).
    """
    scenarios = assay.shape[1]
    place = np.searchsorted(levels, assay, side="right")
    best = np.zeros((scenarios, len(levels) + 1))
    np.maximum.at(best, (np.broadcast_to(np.arange(scenarios), assay.shape), place), mass)
    return np.asarray(np.maximum.accumulate(best[:, ::-1], axis=1)[:, ::-1][:, 1:])
