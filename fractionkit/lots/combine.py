"""Combining materials into one or several lots: which, and how much of each, so that most is kept."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.lots.material import Material, together
from fractionkit.lots.second_order import Array, Task

Rule = Literal["guarded", "simple", "rounded"]

MOST_DRAWS = 4096
TIE = 1e-4  # by how much a kilogram in an earlier lot is worth more
NUMBERS_IN_DRAWS = 1 << 22  # of all materials and components together, which bounds the memory


@dataclass(frozen=True)
class Wanted:
    """What one lot must be.

    component : canonical name. purity : mass fraction. confidence : probability with which the lot must hold it.
    rule : "guarded" (JCGM 106:2012, 8.3: probability at least the confidence); "simple" (the same, 8.2: the best estimate
    is not below the purity); "rounded" (ASTM E29-22, rounding method: the best estimate, rounded to the last digit of the
    purity as written, ``step``, is not below it). price : worth of one kg of the lot, None where not told. whole : whether
    materials go in whole or not at all. least : smallest part of one that is worth pouring. most : kg, at most so much.
    """

    component: str
    purity: float
    confidence: float = 0.95
    rule: Rule = "guarded"
    price: float | None = None
    whole: bool = False
    least: float = 0.0
    most: float = float("inf")
    step: float = 0.01

    @property
    def limit(self) -> float:
        """What the assay, or its best estimate, must reach."""
        return self.purity - 0.5 * self.step if self.rule == "rounded" else self.purity


@dataclass(frozen=True)
class Combination:
    """Lots as combined.

    components : of ``draws``. parts : (L, M), 0 to 1 of each material in each lot. mass : (L,) kg. chance : (L,) that the
    lot holds its purity, over all draws. draws : (D, M, n) joint draws of the materials. worth : (L,) of one kg.
    """

    materials: tuple[Material, ...]
    wanted: tuple[Wanted, ...]
    components: tuple[str, ...]
    parts: Array
    mass: Array
    chance: Array
    draws: Array
    worth: Array

    @property
    def left(self) -> Array:
        """(M,) kg of each material that no lot takes."""
        return np.asarray((1.0 - self.parts.sum(axis=0)).clip(0.0) * masses(self.materials))

    @cached_property
    def above(self) -> tuple[Array, ...]:
        """For each lot (D, M): by how much each material lies above what the lot must reach, mass fraction."""
        held = (self.draws[:, :, self.components.index(want.component)] - want.limit for want in self.wanted)
        return tuple(np.ascontiguousarray(part) for part in held)

    @cached_property
    def level(self) -> tuple[Array, ...]:
        """For each lot (M,): the mean of ``above``."""
        return tuple(np.asarray(above.mean(axis=0)) for above in self.above)

    @cached_property
    def surplus(self) -> tuple[Array, ...]:
        """For each lot (D,): kg of target above what the lot must hold."""
        taken = self.parts * np.nan_to_num(masses(self.materials))
        return tuple(above @ row for above, row in zip(self.above, taken, strict=True))

    def lot_draws(self, lot: int) -> Array:
        """(D, n) mass fractions of one lot; NaN where it is empty."""
        taken = self.parts[lot] * np.nan_to_num(masses(self.materials))
        if not taken.any():
            return np.full((len(self.draws), len(self.components)), np.nan)
        return np.asarray(np.einsum("m,dmn->dn", taken / taken.sum(), self.draws))

    def mass_u(self, lot: int) -> float:
        """Standard uncertainty of a lot's mass, kg: those of its materials, which were weighed one by one."""
        u = np.array([m.mass_u for m in self.materials])
        return float(np.linalg.norm(np.where(self.parts[lot] > 0.0, self.parts[lot] * u, 0.0)))


def combine(
    materials: tuple[Material, ...],
    wanted: tuple[Wanted, ...],
    *,
    disposal: float = 0.0,
    draws: Array | None = None,
) -> Combination:
    """Choose the parts of ``materials`` for the lots ``wanted`` so that most is kept.

    Most is mass, or where each lot has a price, what the lots are worth and what is saved by not disposing of it
    (``disposal`` : cost of one kg left over). Of plans that keep as much, the one that gives more to the lot named first.
    draws : (D, M, n) as `together` makes them over `components_of`; drawn here by default.

    Every lot meets its purity with its confidence over all draws, or is empty.
    """
    components = components_of(materials, wanted)
    if draws is None:
        draws = joint(materials, components)
    worth = worths(wanted, disposal)
    task = task_of(materials, wanted, components, draws, worth)
    parts = best_for(task)
    return Combination(
        materials, wanted, components, parts, parts @ task.mass, purity_chance(task, parts, wanted), draws, worth
    )


def masses(materials: tuple[Material, ...]) -> Array:
    """(M,) kg, NaN where a mass is unknown."""
    return np.array([material.mass for material in materials], dtype=float)


def components_of(materials: tuple[Material, ...], wanted: tuple[Wanted, ...]) -> tuple[str, ...]:
    """All components of the materials and targets, in the order met."""
    named = [name for material in materials for name in material.components] + [want.component for want in wanted]
    return tuple(dict.fromkeys(named))


def joint(materials: tuple[Material, ...], components: tuple[str, ...]) -> Array:
    """Joint draws (D, M, n), as many as the longest material has, at most 4,096 and as many as memory bears."""
    longest = max((len(material.draws) for material in materials), default=1)
    bearable = NUMBERS_IN_DRAWS // max(len(materials) * len(components), 1)
    return together(materials, components, int(np.clip(bearable, 256, min(longest, MOST_DRAWS))))


def worths(wanted: tuple[Wanted, ...], disposal: float = 0.0) -> Array:
    """(L,) worth of one kg kept in each lot; earlier lots are worth a ten-thousandth more, so that ties go to them."""
    prices = [want.price for want in wanted]
    told = [price for price in prices if price is not None]
    plain = np.ones(len(wanted)) if len(told) < len(wanted) else np.array(told) + disposal
    plain = plain if plain.max(initial=0.0) > 0.0 else np.ones(len(wanted))
    return np.asarray(np.maximum(plain, 0.0) + plain.max(initial=0.0) * TIE * np.arange(len(wanted), 0, -1))


def task_of(
    materials: tuple[Material, ...],
    wanted: tuple[Wanted, ...],
    components: tuple[str, ...],
    draws: Array,
    worth: Array,
) -> Task:
    """The arrays of the optimisation."""
    mass = np.nan_to_num(masses(materials))
    held = np.stack([draws[:, :, components.index(want.component)] for want in wanted])
    limit = np.array([want.limit for want in wanted])
    return Task(
        mass,
        mass * (held - limit[:, None, None]),
        np.array([want.confidence if want.rule == "guarded" else np.nan for want in wanted]),
        worth,
        np.array([want.whole for want in wanted]),
        np.array([want.least for want in wanted]),
        np.array([want.most for want in wanted]),
    )


def best_for(task: Task, *, finish: bool = True) -> Array:
    """`best_parts`, of the materials that have a mass."""
    from fractionkit.lots.search import (
        best_parts,
    )  # here: scipy's optimisers take longer to import than a run to assess

    there = task.mass > 0.0
    parts = np.zeros((task.lots, len(there)))
    kept = Task(
        task.mass[there], task.surplus[:, :, there], task.confidence, task.worth, task.whole, task.least, task.most
    )
    parts[:, there] = best_parts(kept, finish=finish)
    return parts


def purity_chance(task: Task, parts: Array, wanted: tuple[Wanted, ...]) -> Array:
    """(L,) probability over the draws that each lot holds the purity as written, whatever the rule; 0 where empty."""
    shift = np.array([want.limit - want.purity for want in wanted])
    taken = parts @ task.mass
    total = task.total(parts) + (shift * taken)[:, None]
    chance: NDArray[np.float64] = (total >= 0.0).mean(axis=1)
    return np.where(taken > 0.0, chance, 0.0)
