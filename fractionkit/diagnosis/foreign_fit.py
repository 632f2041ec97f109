"""Evidence of a component that is not in the sheet: its amount, each cut's own content, and what is not known of it.

Unknown beside the run's shared errors: the amount charged, the departure of each vessel's content from what `trace` says
(lognormal, for stills differ from ideal ones), and the errors that come with the component: its vapour pressure, its
activities and excess volumes with the run's own. The predictions are not linear in the contents, so they are made anew
about the estimate in a few passes (Gauss-Newton), which ends where Laplace's method asks for them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Carried, Explained, Variant, log_twice_above_zero
from fractionkit.diagnosis.laplace import changed, fit
from fractionkit.inference.joint import Block

Array = NDArray[np.float64]

FREEDOM = 0.3  # standard deviation of ln content of a vessel about its trace
STRETCH = (
    0.2  # relative standard deviation of ln content below the richest vessel's: volatility and stages are not known
)
FARTHEST = 3.0  # standard deviations of those departures that a pass may reach
FELT = 0.02  # content, of the richest vessel's, from which a vessel may depart
LEAST_SIZE = 1e-3  # prior standard deviations
PASSES, STEPS = 6, 15  # passes, Newton steps in each
BEHIND, BEHIND_SHARE = 15.0, 5e-4  # log evidence, and share of what the best gains, after which one is given up
ENOUGH = 0.3  # standard deviations by which the last pass may still have moved
STEP = 0.05  # relative step of the derivative by the amount
MOST = 0.95  # content


@dataclass(frozen=True)
class Place:
    """Where the predictions are made: amount and stretch of the trace in prior standard deviations, departures (K,)."""

    size: float
    stretch: float
    away: Array

    def content(self, carried: Carried, scale: float, size: float | None = None) -> Array:
        """(K,) mass fractions."""
        logs = np.log(np.maximum(carried.content((self.size if size is None else size) * scale), 1e-12))
        lower = logs - logs.max()
        return np.asarray(np.minimum(np.exp(logs + STRETCH * self.stretch * lower + FREEDOM * self.away), MOST))

    def towards(self, theta: Array, rows: NDArray[np.intp]) -> Place:
        """The place that a fit asks for, as far as one pass may go."""
        size = float(np.clip(theta[0], max(self.size / 4.0, LEAST_SIZE), self.size * 4.0))
        away = np.zeros_like(self.away)
        away[rows] = np.clip(theta[2 : 2 + len(rows)], -FARTHEST, FARTHEST)
        return Place(size, float(np.clip(theta[1], -FARTHEST, FARTHEST)), away)


def explain_foreign(base: Ground, variant: Variant, place: Place, floor: float = -np.inf) -> Explained:
    """Evidence of a variant with a foreign component, sought from ``place``; ``floor`` as in `laplace.fit`."""
    carried = variant.carried
    assert carried is not None
    p = base.size
    theta = np.zeros(0)
    before, behind = -np.inf, BEHIND + BEHIND_SHARE * max(floor - base.fit.log_evidence, 0.0)
    for turn in range(PASSES):
        block, count, rows = _laid(base, variant, carried, place)
        begin = np.zeros(p + count)
        begin[p : p + 2 + len(rows)] = place.size, place.stretch, *place.away[rows]
        if theta.size:
            fresh = count - 2 - len(rows)
            begin[:p], begin[p + count - fresh :] = theta[:p], theta[len(theta) - fresh :]
        found = fit(block, p + count, begin, floor=floor, steps=STEPS)
        theta = found.theta
        estimate, sd = float(theta[p]), found.sd(p)
        moved = max(
            abs(max(estimate, LEAST_SIZE) - place.size) / sd,
            float(np.abs(theta - begin)[p + 1 : p + 2 + len(rows)].max()),
        )
        place = place.towards(theta[p:], rows)
        gained, before = found.log_evidence - before, found.log_evidence
        if moved < ENOUGH or (turn and found.log_evidence + 2.0 * max(gained, 0.0) < floor - behind):
            break
    evidence = found.log_evidence + log_twice_above_zero(estimate / sd)
    content = place.content(carried, variant.scale)
    variant = replace(variant, label=base.evidence.names[int(np.argmax(content))])
    return Explained(variant, evidence, estimate * variant.scale, sd * variant.scale, block, found, content)


def _laid(base: Ground, variant: Variant, carried: Carried, place: Place) -> tuple[Block, int, NDArray[np.intp]]:
    """The readings with the component, straight lines about a place; how many errors more; vessels that depart.

    The errors: amount, stretch, departure of each vessel in turn, those that come with the component.
    """
    content = place.content(carried, variant.scale)
    low, high = place.size * (1.0 - STEP), place.size * (1.0 + STEP)
    by_size = place.content(carried, variant.scale, high) - place.content(carried, variant.scale, low)
    by_size /= high - low
    rows = np.flatnonzero(content > FELT * content.max())
    by_stretch = STRETCH * content * np.log(content / content.max()) / (1.0 + STRETCH * place.stretch)
    change, slope, errors = carried.change(content), carried.slope(content), carried.errors(content)
    by_place = np.column_stack([by_size, by_stretch, (FREEDOM * content[:, None] * np.eye(len(content)))[:, rows]])
    there = np.array([place.size, place.stretch, *place.away[rows]])
    fresh = max((value.shape[-1] for value in errors.values()), default=0)
    shift, columns = {}, {}
    for kind, value in change.items():
        shape = np.broadcast_shapes(np.shape(slope[kind]), np.shape(errors[kind])[:2] if kind in errors else (1, 1))
        by_content = np.broadcast_to(slope[kind], shape)
        own = by_content[..., None] * by_place[:, None, :]
        shift[kind] = value - own @ there
        more = errors[kind] if kind in errors else np.zeros((*shape, fresh))
        columns[kind] = np.concatenate([own, more], axis=-1)
    count = len(there) + fresh
    return changed(base.block, shift, columns, count, base.size), count, rows
