"""How much can be kept at which assay: the frontier of one lot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fractionkit.lots.combine import Wanted, best_for, components_of, joint, masses, task_of
from fractionkit.lots.material import Material
from fractionkit.lots.second_order import Array

POINTS = 24
SEARCHED = 1024  # draws on which plans are sought; what they hold is read from all


def frontier(
    materials: tuple[Material, ...], want: Wanted, *, points: int = POINTS, draws: Array | None = None
) -> tuple[Array, Array]:
    """Most mass against the assay that it is sure to hold.

    draws : (D, M, n), as for `combine`. Returns assay (m,), the mass fraction of the target that the lot holds with the
    confidence wanted (one-sided, over all draws), rising, and mass (m,) kg, falling. Purities in even steps of the
    logarithm of what is not target, from all materials poured together to the purest; plans that another beats in both
    are left out.
    How small a part may be is not looked at; whole materials stay whole.
    """
    components = components_of(materials, (want,))
    if draws is None:
        draws = joint(materials, components)
    mass = np.nan_to_num(masses(materials))
    known = mass > 0.0
    if not known.any():
        return np.zeros(0), np.zeros(0)
    held = draws[:, :, components.index(want.component)]
    plans = [known.astype(float)]
    least = _sure(held @ mass / mass.sum(), want.confidence)
    most = max(_sure(held[:, k], want.confidence) for k in np.flatnonzero(known).tolist())
    thin = draws[:: max(1, len(draws) // SEARCHED)]
    for impure in np.geomspace(1.0 - least, max(1.0 - most, 1e-6), points)[1:]:
        at = replace(want, purity=1.0 - float(impure), rule="guarded", least=0.0)
        plans.append(best_for(task_of(materials, (at,), components, thin, np.ones(1)), finish=False)[0])
    taken = np.stack([plan * mass for plan in plans])
    taken = taken[taken.any(axis=1)]
    assay = np.array([_sure(held @ row / row.sum(), want.confidence) for row in taken])
    return _undominated(assay, taken.sum(axis=1))


def _sure(assay: Array, confidence: float) -> float:
    """What is held with the confidence: the draw below which at most 1 - confidence of them lie."""
    rank = min(int(np.floor(len(assay) * (1.0 - confidence) + 1e-9)), len(assay) - 1)
    return float(np.partition(assay, rank)[rank])


def _undominated(assay: Array, mass: Array) -> tuple[Array, Array]:
    order = np.lexsort((-mass, assay))
    assay, mass = assay[order], mass[order]
    later = np.append(np.maximum.accumulate(mass[::-1])[::-1][1:], -np.inf)
    stays = mass > later * (1.0 + 1e-9)
    return assay[stays], mass[stays]
