"""From the program's answer to one that holds on every draw: coverage factor, repair, and what can still be gained.

Compositions are cut off at 0 and 100 %, so that a lot's surplus is not quite normal: the coverage factor of the normal
distribution is replaced by the one that the draws themselves show at the solution, (mean - quantile)/deviation, until
that no longer changes. Then the plan is tried on all draws, and never given out where it fails there.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from fractionkit.lots.choose import choose, improved
from fractionkit.lots.second_order import Array, Program, Task

MOST_COMBINATIONS = 1 << 14  # ways to deal whole materials out to the lots up to which all are tried
NEAR = (1.0, 0.9, 0.75, 0.5)  # of the coverage factor, for the choice which materials are poured at all
TOO_MANY = 600  # parts of several lots: beyond, they are served in turn, then improved on the draws
ROUNDS = 8  # of the coverage factor
MARGIN = 1e-3  # mass fraction for each unit of that, for lots whose composition is known without doubt or not guarded
FARTHEST, HALVINGS = 4.0, 10  # coverage factors among which that of the surest blend is sought
BLENDS = 1024  # tried on the draws about the surest, where that one does not hold
STEPS = 14  # of the improvement on the draws
REPAIR = 1e-5 * 4.0 ** np.arange(12)  # by how much the coverage factor is raised where a lot fails on the draws
BLOCK = 256


def best_parts(task: Task, *, finish: bool = True) -> Array:
    """Parts (L, M) of most worth with which every lot holds on all draws; zeros where none does.

    finish : whether to go on from the program's answer to what the draws allow, which may be some tenths of a per cent.
    """
    if not len(task.mass) or not task.lots:
        return np.zeros((task.lots, len(task.mass)))
    ways = (task.lots + 1) ** len(task.mass)
    if task.whole.all() and ways <= MOST_COMBINATIONS:
        return _every_way(task, ways)
    program = Program(task)
    best = np.zeros((task.lots, len(task.mass)))
    for order in _orders(task) if task.lots > 1 else ():
        best = _better(task, best, _in_turn(task, order))
    if task.lots == 1 or best.size <= TOO_MANY:
        best = _better(task, best, _calibrated(program))
    if task.lots == 1 and not np.isnan(task.confidence[0]):
        best = _better(task, best, _whole_cuts(task))
        if not best.any() and not task.whole.all():
            best = _surest(program, best)
    for lot in np.flatnonzero(~np.isnan(task.confidence) & np.isinf(task.most)).tolist():
        best = _better(task, best, _added(task, best, lot))
    if program.switched.size:
        best = _poured(program, best)
    return _climbed(program, best) if finish and not task.whole.all() else best


def _orders(task: Task) -> list[tuple[int, ...]]:
    """Orders in which lots may be served: as they stand, backwards, and by worth."""
    plain = tuple(range(task.lots))
    worth = tuple(np.argsort(-task.worth, kind="stable").tolist())
    return list(dict.fromkeys((plain, plain[::-1], worth)))


def _in_turn(task: Task, order: tuple[int, ...]) -> Array:
    """Lots served one after the other, each with the best of what those before it left: a plan to begin with."""
    parts = np.zeros((task.lots, len(task.mass)))
    for lot in order:
        free = 1.0 - parts.sum(axis=0)
        must = bool(task.whole[lot]) or task.least[lot] > 0.0
        there = np.flatnonzero(free >= 1.0 if must else free > 1e-6)
        one = slice(lot, lot + 1)
        rest = Task(
            task.mass[there] * free[there],
            task.surplus[one][:, :, there] * free[there],
            task.confidence[one],
            task.worth[one],
            task.whole[one],
            task.least[one],
            task.most[one],
        )
        parts[lot, there] = best_parts(rest, finish=False)[0] * free[there]
    return parts


def _poured(program: Program, best: Array) -> Array:
    """The best plan where parts are at least so large: which materials take part is a jump, so near choices are tried too.

    They are those that the program makes at somewhat smaller coverage factors; each is then sought like a plan of parts.
    """
    task, least = program.task, program.task.least[:, None]
    zero = np.zeros(task.lots)
    tried: list[NDArray[np.bool_]] = []
    for factor in NEAR:
        taken = program.solve(factor * _normal(task), zero) > 0.0
        if any((taken == other).all() for other in tried):
            continue
        tried.append(taken)
        low = np.where(task.whole[:, None], 1.0, least) * taken
        best = _better(task, best, _calibrated(program, (low, taken.astype(float))))
    return best


def _normal(task: Task) -> Array:
    """(L,) coverage factor of each lot's confidence in the normal distribution, 0 where it is not guarded."""
    return np.array([NormalDist().inv_cdf(float(c)) for c in np.nan_to_num(task.confidence, nan=0.5)])


def quantile(total: Array, confidence: Array) -> Array:
    """(L,) the surplus that each lot reaches with its confidence: total (L, D), sorted no further than needed."""
    draws = total.shape[1]
    rank = np.minimum(np.floor(draws * (1.0 - confidence) + 1e-9).astype(int), draws - 1)
    return np.array([np.partition(row, place)[place] for row, place in zip(total, rank, strict=True)])


def _better(task: Task, best: Array, other: Array) -> Array:
    """The plan of more worth, the other only where it holds."""
    gains = (task.value * other).sum() > (task.value * best).sum() * (1.0 + 1e-12)
    return other if gains and task.holds(other).all() else best


def _calibrated(program: Program, box: tuple[Array, Array] | None = None) -> Array:
    """The best plan that holds on the draws while the coverage factor is found, and after raising it."""
    task = program.task
    level = np.nan_to_num(task.confidence, nan=0.5)
    kappa = _normal(task)
    best = np.zeros((task.lots, len(task.mass)))
    margin = np.zeros(task.lots)
    for _ in range(ROUNDS):
        parts = program.solve(kappa, margin, box)
        best = _better(task, best, parts)
        size = program.deviation(parts)
        mean = (program.mean * parts).sum(axis=1)
        shown = np.divide(mean - quantile(task.total(parts), level), size, out=kappa.copy(), where=size > 0.0)
        new = np.where(np.isnan(task.confidence), 0.0, shown)
        settled = np.abs(new - kappa).max() < 1e-4
        kappa = new
        if settled:
            break
    for more in REPAIR:
        parts = program.solve(kappa, margin, box)
        failing = ~task.holds(parts)
        if not failing.any():
            return _better(task, best, parts)
        kappa = np.where(failing, kappa + more, kappa)
        margin = np.where(failing, margin + MARGIN * more, margin)
    return best


def _surest(program: Program, best: Array) -> Array:
    """The one lot's surest blend, that of the largest coverage factor which leaves it not empty, where nothing else held.

    Surpluses are cut off above: the factor that the draws show at a heavy blend may leave no room for any, though a surer
    blend holds on them.
    """
    zero = np.zeros(1)
    if not program.solve(zero, zero).any():
        return best
    near, far, blend = 0.0, FARTHEST, best
    for _ in range(HALVINGS):
        middle = 0.5 * (near + far)
        parts = program.solve(np.full(1, middle), zero)
        near, far, blend = (middle, far, parts) if parts.any() else (near, middle, blend)
        best = _better(program.task, best, parts)
    return best if best.any() else _beside(program.task, blend)


def _beside(task: Task, blend: Array) -> Array:
    """The heaviest that holds of many blends like ``blend`` (1, M) of one lot; zeros where none does."""
    rng = np.random.default_rng(20240611)
    near = blend * np.exp(0.7 * rng.standard_normal((BLENDS, blend.size)))
    plans = np.concatenate([blend, near])
    plans /= np.maximum(plans.max(axis=1, keepdims=True), 1e-300)
    pourable = ((plans == 0.0) | (plans >= task.least[0])).all(axis=1)
    plans = plans[_held(task, 0, plans) & pourable & (plans @ task.mass <= task.most[0])]
    for plan in plans[np.argsort(-(plans @ task.value[0]), kind="stable")][:1]:
        return np.where(task.holds(plan[None])[:, None], plan[None], 0.0)
    return np.zeros_like(blend)


def _whole_cuts(task: Task) -> Array:
    """The lot of whole cuts that `choose` finds: the answer can never be lighter than that."""
    above = task.surplus[0] / task.mass  # w - purity
    kept = choose(task.mass, above, 0.0, float(task.confidence[0]))
    return np.where(kept & (task.mass[kept].sum() <= task.most[0]), 1.0, 0.0)[None]


def _added(task: Task, parts: Array, lot: int) -> Array:
    """One lot of whole materials after additions and exchanges with those that no other lot touches."""
    free = np.flatnonzero(np.delete(parts, lot, axis=0).sum(axis=0) == 0.0)
    chosen = parts[lot, free] == 1.0
    new = parts.copy()
    better = improved(task.mass[free], task.surplus[lot][:, free], float(task.confidence[lot]), chosen)
    new[lot, free] = better.astype(float)
    return new


def _every_way(task: Task, ways: int) -> Array:
    """Whole materials dealt out in every way there is, the most worth first: exact on the draws."""
    size = len(task.mass)
    digits = (np.arange(ways)[:, None] // (task.lots + 1) ** np.arange(size)) % (task.lots + 1)  # lot + 1, or 0
    dealt = digits[:, None, :] == np.arange(1, task.lots + 1)[:, None]  # (ways, L, M)
    heavy = (dealt @ task.mass) > task.most
    worth = np.where(heavy.any(axis=1), -1.0, np.einsum("wlm,lm->w", dealt, task.value))
    order = np.argsort(-worth, kind="stable")
    for first in range(0, ways, BLOCK):
        part = order[first : first + BLOCK]
        part = part[worth[part] >= 0.0]
        good = np.ones(len(part), dtype=bool)
        for lot in range(task.lots):  # lots, a few
            good &= _held(task, lot, dealt[part, lot].astype(float))
        if good.any():
            return np.asarray(dealt[part[int(np.argmax(good))]], dtype=float)
    return np.zeros((task.lots, size))


def _held(task: Task, lot: int, plans: Array) -> NDArray[np.bool_]:
    """Which of the plans (W, M) of one lot hold; empty ones do."""
    empty = ~(plans > 0.0).any(axis=1)
    if np.isnan(task.confidence[lot]):
        return np.asarray((plans @ task.surplus[lot].mean(axis=0) >= 0.0) | empty)
    chance = (task.surplus[lot] @ plans.T >= 0.0).mean(axis=0)
    return np.asarray((chance >= task.confidence[lot]) | empty)


def _climbed(program: Program, parts: Array) -> Array:
    """``parts`` moved uphill on the draws: the quantile's slope is the mean of the draws beside it (Hong 2009).

    L. J. Hong, Operations Research 57 (2009) 118: the derivative of a quantile of s f is E[s | s f = quantile]. A linear
    program inside a box that narrows where nothing is gained; each step goes as far as the draws allow.
    """
    task = program.task
    if not (parts > 0.0).any():
        return parts
    level = np.nan_to_num(task.confidence, nan=0.5)
    reach = 0.25
    for _ in range(STEPS):
        low = np.maximum(parts - reach, 0.0)
        high = np.minimum(parts + reach, 1.0)
        fixed = task.whole[:, None] | ((task.least[:, None] > 0.0) & (parts == 0.0))
        low = np.where(
            fixed, parts, np.where(parts > 0.0, np.maximum(low, np.minimum(task.least[:, None], parts)), low)
        )
        high = np.where(fixed, parts, high)
        slopes, floor = _slopes(program, parts, level)
        aim = program.linear(slopes, (low, high), floor)
        new = _as_far_as_it_holds(task, parts, aim)
        gain = (task.value * (new - parts)).sum() / (task.value * parts).sum()
        parts = new if gain > 0.0 else parts
        reach *= 0.5 if gain < 1e-4 else 1.0
        if reach < 1e-3:
            break
    return parts


def _slopes(program: Program, parts: Array, level: Array) -> tuple[list[tuple[int, Array]], Array]:
    task = program.task
    total = task.total(parts)
    now = quantile(total, level)
    slopes, floor = [], np.zeros(task.lots)
    for lot in range(task.lots):  # lots, a few
        if np.isnan(task.confidence[lot]) or not (parts[lot] > 0.0).any():
            slopes.append((lot, program.mean[lot]))
            continue
        beside = max(10, total.shape[1] // 50)
        near = np.argpartition(np.abs(total[lot] - now[lot]), min(beside, total.shape[1] - 1))[:beside]
        slope = task.surplus[lot][near].mean(axis=0)
        slopes.append((lot, slope))
        floor[lot] = slope @ parts[lot] - now[lot]
    return slopes, floor


def _as_far_as_it_holds(task: Task, start: Array, aim: Array) -> Array:
    """The point farthest on the way from ``start``, which holds, to ``aim`` that still does (bisection)."""
    if task.holds(aim).all():
        return aim
    near, far = 0.0, 1.0
    for _ in range(12):
        middle = 0.5 * (near + far)
        if task.holds(start + middle * (aim - start)).all():
            near = middle
        else:
            far = middle
    return start + near * (aim - start)
