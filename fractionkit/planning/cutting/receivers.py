"""How to divide forerun and tails: the changes that mix least, by dynamic programming."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROUNDS, SIDE = 6, 9
"""Rounds in which the ends move between marks, and places tried in each; a round narrows to two fifths."""


def mixing(moles: Array) -> Array:
    """Entropy of mixing (...) in units of R, mol, of amounts (..., n): sum_i n_i ln(n / n_i).

    R T times it is the least work that separating them again would take (Gibbs; any textbook of thermodynamics).
    """
    total = moles.sum(axis=-1, keepdims=True)
    there = moles > 0.0
    ratio = np.log(np.where(there, total, 1.0) / np.where(there, moles, 1.0))
    return np.asarray((moles * ratio).sum(axis=-1), dtype=np.float64)


def piece_costs(over: Array) -> Array:
    """Entropy of mixing (G, G) of the receiver from mark i to mark j > i, given moles over at each mark (G, n)."""
    count = len(over)
    i, j = np.triu_indices(count, 1)
    costs = np.full((count, count), np.inf)
    costs[i, j] = mixing(np.maximum(over[j] - over[i], 0.0))
    return costs


def divisions(costs: Array, most: int) -> tuple[Array, list[list[int]]]:
    """Least cost of dividing marks 0 to G - 1 into 1, 2, ... ``most`` receivers, and the marks where each ends.

    Bellman's recursion over the number of receivers: f_k(j) = min_i f_{k-1}(i) + cost(i, j). More receivers than
    there are cells make no finer division; the list then ends early.
    """
    count = len(costs)
    most = min(most, count - 1)
    least = costs[0].copy()
    totals, back = [least[-1]], []
    for _ in range(1, most):  # receivers, not scenarios or marks
        whole = least[:, None] + costs
        back.append(whole.argmin(axis=0))
        least = whole.min(axis=0)
        totals.append(least[-1])
    ends = []
    for k in range(most):
        path, at = [count - 1], count - 1
        for step in back[:k][::-1]:
            at = int(step[at])
            path.append(at)
        ends.append(path[::-1])
    return np.array(totals), ends


def divide_around(over: Array, heart: tuple[int, int] | None, receivers: int) -> list[int]:
    """Marks (of the rows of ``over`` (G, n) mol) where the receivers end, the heart being one of them.

    All receivers are used as long as there is something to put in them; where the heart leaves fewer than are needed,
    distilling stops with the heart. Forerun and tails share what is left so that the least is mixed in all.
    """
    costs = piece_costs(over)
    last = len(over) - 1
    if heart is None:
        return divisions(costs, receivers)[1][-1]
    first, after = heart
    rest = receivers - 1
    before = divisions(costs[: first + 1, : first + 1], rest) if first > 0 and rest else None
    free = rest - (1 if before is not None else 0)
    behind = divisions(costs[after:, after:], free) if after < last and free > 0 else None
    if before is None:
        tails = [] if behind is None else [after + k for k in behind[1][-1]]
        return [after, *tails]
    if behind is None:
        return [*before[1][-1], after]
    shares = range(1, min(len(before[0]), rest - 1) + 1)
    best = min(shares, key=lambda k: before[0][k - 1] + behind[0][min(rest - k, len(behind[0])) - 1])
    tails = behind[1][min(rest - best, len(behind[1])) - 1]
    return [*before[1][best - 1], after, *(after + k for k in tails)]


def between_marks(
    cost: Callable[[float, Array, float], Array], ends: Array, free: list[int], marks: Array, *, start: float
) -> Array:
    """Move the ``free`` ends (C,) off the finite ``marks`` to where least is mixed, one at a time and a few times over.

    ``cost(before, tried, after)`` tells what is mixed in the two receivers on both sides of each end tried.
    """
    moved = ends.copy()
    widths = np.zeros(len(ends))
    for k in free:
        at = int(np.searchsorted(marks, moved[k]))
        widths[k] = marks[min(at + 1, len(marks) - 1)] - marks[max(at - 1, 0)]
    for _ in range(ROUNDS):
        for k in free:  # receivers, a handful
            before = moved[k - 1] if k else start
            low, high = max(before, moved[k] - widths[k]), min(moved[k + 1], moved[k] + widths[k])
            tried = np.union1d(np.linspace(low, high, SIDE), moved[k])
            moved[k] = tried[int(cost(before, tried, float(moved[k + 1])).argmin())]
        widths = widths / 2.5
    return moved
