"""The heaviest lots as a mixed-integer linear program, the chance of each lot written as a second-order cone.

A lot that takes the parts f of its materials has the surplus s f, s being joint draws of m_k (w_k - purity). With mean
mu' f and standard deviation |A f| (A : centred draws over sqrt(D)) the chance that it is not negative is at least the
confidence where

    mu' f - kappa |A f| >= 0,

kappa being the normal quantile of the confidence (Prékopa, Stochastic Programming, 1995, 10.4; Boyd and Vandenberghe,
Convex Optimization, 2004, 4.4.2). The cone is convex and homogeneous; each of its tangents

    (mu - kappa A'A f0 / |A f0|)' f >= 0

holds everywhere in it (|A f| >= (A f0)'(A f)/|A f0|, Cauchy and Schwarz), so that tangents at the successive solutions
(Kelley, J. SIAM 8 (1960) 703) lead to the global optimum, with whole cuts too, since every program is solved as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint

Array = NDArray[np.float64]

MOST_TANGENTS, FEWER_TANGENTS = 60, 15  # of one descent; the second where several lots share many materials
MANY_PARTS = 60  # of several lots, from which they are many: lots may then trade materials with hardly a gain or loss
KEPT_TANGENTS = 60  # those that bounded a solution last, where there are many
GAP = 1e-5  # of the worth, to which a program with whole cuts is solved
MOST_NODES = 2000  # of its search tree
MOST_SWITCHES = 150  # yes-or-no choices up to which such a program is solved; beyond, one with parts is rounded down
ROUND_OFF = 1e-9
TINY = 1e-12  # mass fraction
CLOSE = 1e-6  # shortfall of a cone, in units of all mass, that counts as none; what is left is repaired on the draws


@dataclass(frozen=True)
class Task:
    """What is to be combined: M materials, L lots, D joint draws.

    mass : (M,) kg. surplus : (L, D, M), m_k (w_k - purity) of each lot's target, kg. confidence : (L,); NaN where only
    the mean must not be negative. worth : (L,) of one kg in each lot. whole : (L,) of bool, whether a lot takes
    materials whole or not at all. least : (L,) smallest part that is worth taking. most : (L,) kg.
    """

    mass: Array
    surplus: Array
    confidence: Array
    worth: Array
    whole: NDArray[np.bool_]
    least: Array
    most: Array

    @property
    def lots(self) -> int:
        """Number of lots."""
        return len(self.worth)

    @property
    def value(self) -> Array:
        """(L, M) worth of the whole of each material in each lot."""
        return self.worth[:, None] * self.mass

    def total(self, parts: Array) -> Array:
        """(L, D) surplus of the lots that take ``parts`` (L, M)."""
        return np.asarray(np.einsum("ldm,lm->ld", self.surplus, parts))

    def holds(self, parts: Array) -> NDArray[np.bool_]:
        """(L,) whether each lot meets its purity with its confidence on all draws; an empty lot does.

        Lots with parts of materials must do so by more than what rounding in another order of summing can undo.
        """
        whole = ((parts == 0.0) | (parts == 1.0)).all(axis=1)
        total = self.total(parts) - np.where(whole, 0.0, TINY * (parts @ self.mass))[:, None]
        judged = np.where(
            np.isnan(self.confidence), total.mean(axis=1) >= 0.0, (total >= 0.0).mean(axis=1) >= self.confidence
        )
        return np.asarray(judged.astype(bool) | ~(parts > 0.0).any(axis=1))


def _edge(low: float, high: float, start: Array, end: Array, kappa: float) -> float:
    """Share of the way from inside a cone to outside it at which mean - kappa deviation is zero (bisection)."""
    square, cross, step = float(start @ start), float(start @ (end - start)), float((end - start) @ (end - start))
    near, far = 0.0, 1.0
    for _ in range(40):
        t = 0.5 * (near + far)
        deviation = max(square + 2.0 * t * cross + t * t * step, 0.0) ** 0.5
        if low + t * (high - low) >= kappa * deviation:
            near = t
        else:
            far = t
    return near


class Program:
    """The program of one task. Directions of tangents are kept: with any kappa they make a tangent of that cone."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.mean = task.surplus.mean(axis=1)
        self.spread = (task.surplus - self.mean[:, None]) / np.sqrt(task.surplus.shape[1])
        self.guarded = ~np.isnan(task.confidence)
        self.switched = np.flatnonzero((task.least > 0.0) & ~task.whole)
        choices = len(task.mass) * int((task.whole | (task.least > 0.0)).sum())
        self.integral = 0 < choices <= MOST_SWITCHES
        self.rounds = choices > MOST_SWITCHES
        self.directions: list[tuple[int, Array]] = []
        self._rows: dict[bool, LinearConstraint] = {}

    def solve(self, kappa: Array, margin: Array, box: tuple[Array, Array] | None = None) -> Array:
        """Parts (L, M) of most worth in the cones of ``kappa`` (L,), their means above the purity by ``margin`` (L,).

        box : lower and upper bounds (L, M), between which all parts are free.
        """
        level = list(enumerate(self.mean - margin[:, None] * self.task.mass))
        if self.integral and box is None:  # most tangents are found where it costs little, with parts of cuts for whole
            self._descend(level, kappa, None, relaxed=True)
        parts = self._descend(level, kappa, box, relaxed=not self.integral)
        if not self.rounds or box is not None:
            return parts
        least = np.where(self.task.whole, 1.0, self.task.least)[:, None]
        return np.where(parts >= least, parts, 0.0)

    def deviation(self, parts: Array) -> Array:
        """(L,) standard deviation of each lot's surplus."""
        return np.asarray(np.linalg.norm(np.einsum("ldm,lm->ld", self.spread, parts), axis=1))

    def _descend(
        self, level: list[tuple[int, Array]], kappa: Array, box: tuple[Array, Array] | None, relaxed: bool
    ) -> Array:
        inside = self._inside(kappa) if relaxed and box is None else np.zeros_like(self.mean)
        parts: Array = np.ones_like(self.mean)
        slow = self.task.lots > 1 and self.mean.size > MANY_PARTS
        for _ in range(FEWER_TANGENTS if slow else MOST_TANGENTS):
            cones = [(lot, self.mean[lot] - kappa[lot] * slope) for lot, slope in self.directions]
            parts = self.linear(level + cones, box, relaxed=relaxed)
            new, edge = self._outside(parts, inside, kappa)
            if not new:
                break
            if slow and len(cones) > KEPT_TANGENTS:
                slack = np.array([float(slope @ parts[lot]) for lot, slope in cones])
                self.directions = [
                    self.directions[k] for k in np.sort(np.argsort(slack, kind="stable")[:KEPT_TANGENTS])
                ]
            self.directions += new
            inside = np.asarray(inside + 0.5 * edge[:, None] * (parts - inside))
        return parts

    def _inside(self, kappa: Array) -> Array:
        """A plan inside all cones: some of the surest material for each lot; none where no material alone will do."""
        plan: Array = np.zeros_like(self.mean)
        above = (self.mean - kappa[:, None] * np.linalg.norm(self.spread, axis=1)) / self.task.mass
        best = above.argmax(axis=1)
        for lot in np.flatnonzero(above.max(axis=1) > 0.0).tolist():  # lots, a few
            room = min(1.0, float(self.task.most[lot] / self.task.mass[best[lot]]))
            plan[lot, best[lot]] = 0.5 * room / self.task.lots
        return plan

    def _outside(self, parts: Array, inside: Array, kappa: Array) -> tuple[list[tuple[int, Array]], Array]:
        """Directions of tangents that cut ``parts`` off, one a lot whose cone it leaves.

        Each is taken where the way from ``inside`` leaves the cone (Veinott, Operations Research 15 (1967) 147), which
        cuts deeper than one taken at ``parts``. Second, (L,) how far one may go that way with each lot.
        """
        found, edges = [], np.where(inside.any(axis=1), 1.0, 0.0)
        for lot in np.flatnonzero(self.guarded & (parts > 0.0).any(axis=1)).tolist():  # lots, a few
            start, end = (self.spread[lot] @ plan[lot] for plan in (inside, parts))
            low, high = (float(self.mean[lot] @ plan[lot]) for plan in (inside, parts))
            if high - kappa[lot] * np.linalg.norm(end) >= -CLOSE * self.task.mass.sum() or not end.any():
                continue
            along = end
            if edges[lot] > 0.0:
                edges[lot] = _edge(low, high, start, end, kappa[lot])
                along = start + edges[lot] * (end - start)
            found.append((lot, self.spread[lot].T @ along / np.linalg.norm(along)))
        return found, edges

    def linear(
        self,
        above: Sequence[tuple[int, Array]],
        box: tuple[Array, Array] | None = None,
        floor: Array | None = None,
        *,
        relaxed: bool = False,
    ) -> Array:
        """Parts (L, M) of most worth with slope' parts >= floor for each (lot, slope (M,)) of ``above``.

        box : bounds (L, M); between them, or where ``relaxed``, all parts are free. floor : 0 by default.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp  # here: only those who combine pay for it

        task = self.task
        size, count = len(task.mass), task.lots * len(task.mass)
        free = relaxed or box is not None
        low, high = (np.zeros((task.lots, size)), np.ones((task.lots, size))) if box is None else box
        rest = np.ones(0 if free else len(self.switched) * size)
        rows = np.zeros((len(above), count + len(rest)))
        for place, (lot, slope) in enumerate(above):
            rows[place, lot * size : (lot + 1) * size] = slope
        scale = np.maximum(np.abs(rows).max(axis=1, initial=0.0), 1e-300)
        cones = LinearConstraint(rows / scale[:, None], 0.0 if floor is None else floor / scale, np.inf)
        worth = task.value.ravel() / task.value.max()
        found = milp(
            np.concatenate([-worth, 0.0 * rest]),
            integrality=np.concatenate([np.repeat(task.whole & (not free), size).astype(float), rest]),
            bounds=Bounds(np.concatenate([low.ravel(), 0.0 * rest]), np.concatenate([high.ravel(), rest])),
            constraints=[cones, self._available(bool(rest.size))],
            options={"mip_rel_gap": GAP, "node_limit": MOST_NODES},
        )
        if found.x is None:  # no plan within the bounds: the empty one, or the one that they surround
            return low
        parts = np.clip(found.x[:count].reshape(task.lots, size), 0.0, 1.0)
        parts[parts < ROUND_OFF] = 0.0
        parts[parts > 1.0 - ROUND_OFF] = 1.0
        return parts if free else np.where(task.whole[:, None], np.round(parts), parts)

    def _available(self, switched: bool) -> LinearConstraint:
        """No more of a material than there is, nor more in a lot than is wanted; with switches, no part below the least."""
        if switched not in self._rows:
            self._rows[switched] = self._built(switched)
        return self._rows[switched]

    def _built(self, switched: bool) -> LinearConstraint:
        from scipy.optimize import LinearConstraint
        from scipy.sparse import csc_array, csr_array, eye_array, hstack, kron, vstack

        task, size = self.task, len(self.task.mass)
        lots, one = (csr_array(eye_array(count)) for count in (task.lots, size))
        rows = [csr_array(kron(np.ones((1, task.lots)), one))]
        low, high = [np.full(size, -np.inf)], [np.ones(size)]
        limited = np.flatnonzero(np.isfinite(task.most))
        if limited.size:
            rows.append(csr_array(kron(lots[limited], task.mass[None])))
            low.append(np.full(limited.size, -np.inf))
            high.append(task.most[limited])
        if switched:
            count = len(self.switched) * size
            own = csr_array(kron(lots[self.switched], one))
            least = csr_array(kron(np.diag(task.least[self.switched]), one))
            unity = csr_array(eye_array(count))
            rows = [csr_array(hstack([block, csr_array((block.shape[0], count))])) for block in rows]
            rows.append(csr_array(hstack([own, -unity])))
            rows.append(csr_array(hstack([own, -least])))
            low += [np.full(count, -np.inf), np.zeros(count)]
            high += [np.zeros(count), np.full(count, np.inf)]
        return LinearConstraint(csc_array(vstack(rows)), np.concatenate(low), np.concatenate(high))
