"""The next change of receivers while a distillation runs, from equally weighted scenarios."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.cutting.curve import By, Collected
from fractionkit.planning.cutting.heart import guarded
from fractionkit.planning.during.model import BenchReading, Change, During, Mixed
from fractionkit.planning.running_costs import Course
from fractionkit.planning.trial import estimate
from fractionkit.quantities import Estimate

Array = NDArray[np.float64]

MARKS = 64


def mixed(amounts: Array) -> Mixed:
    """Mass and mass fractions of amounts (D, n) kg."""
    return Mixed(estimate(amounts.sum(axis=1)), fractions(amounts))


def fractions(amounts: Array) -> tuple[Estimate, ...]:
    """Mass fractions of amounts (D, n)."""
    w = unit(amounts)
    return tuple(estimate(w[:, i]) for i in range(w.shape[1]))


def unit(amounts: Array) -> Array:
    """Amounts (D, n) divided by their sum; nothing at all becomes equal parts."""
    safe = np.maximum(amounts, 0.0) + 1e-15
    return np.asarray(safe / safe.sum(axis=1, keepdims=True))


def next_change(times: Course, curve: Collected, picked: NDArray[np.intp], found: During, place: int) -> Change:
    """The next change of receivers: the present one kept on as the heart, or a later heart, whichever keeps more."""
    options = []
    kinds: tuple[By, ...] = ("head", "mass")
    for by in kinds:
        marks = _marks(curve, found.readings[-1], by)
        at = curve.masses(marks, by)
        at = np.maximum(at, found.readings[-1].collected)  # a head that has passed a mark already: at once
        at = np.minimum(at, curve.end[:, None])
        amounts = curve.at_mass(np.maximum.accumulate(at, axis=1))
        options += _hearts(curve, found, place, by, marks, amounts, at)
    if not options:
        return _none(curve, found)
    best = max(options, key=lambda option: option.kept)
    when = best.at[:, best.first if best.starts else best.last]
    head = curve.head_at(when[:, None])[:, 0]
    ahead = when - found.readings[-1].collected
    minutes = _minutes(times, picked, found.readings[-1].collected, when)
    return Change(
        what="start of the heart" if best.starts else "end of the heart",
        by=best.by,
        at=float(best.marks[best.first if best.starts else best.last]),
        head=estimate(head),
        collected=estimate(when),
        ahead=estimate(ahead),
        minutes=minutes,
        heart=mixed(best.heart),
        probability=best.probability,
    )


@dataclass(frozen=True)
class _Option:
    """One heart: whether it starts later (``starts``) or is the present receiver, between marks ``first`` and ``last``."""

    by: By
    starts: bool
    first: int
    last: int
    marks: Array
    at: Array
    heart: Array
    kept: float
    probability: float


def _marks(curve: Collected, last: BenchReading, by: By) -> Array:
    """Marks (G,) from now on, by mass or by head temperature."""
    if by == "mass":
        return np.linspace(last.collected, float(curve.end.max()), MARKS)
    now = curve.head_at(np.full((len(curve.mass), 1), last.collected))
    steps = np.linspace(last.collected, float(np.median(curve.end)), MARKS)
    heads = np.quantile(
        np.maximum.accumulate(curve.head_at(np.broadcast_to(steps, (len(curve.mass), MARKS))), axis=1), 0.5, axis=0
    )
    rising = np.union1d(heads, np.linspace(float(now.mean()), float(curve.head[:, -1].max()), MARKS // 2))
    return rising[rising >= float(now.mean())]


def _hearts(
    curve: Collected, found: During, place: int, by: By, marks: Array, amounts: Array, at: Array
) -> list[_Option]:
    """The heaviest heart from the present receiver on, and the heaviest that starts later, by one kind of mark."""
    least = 1e-3 * curve.charge.sum(axis=1)
    start = curve.at_mass(np.full((len(curve.mass), 1), found.since))
    options = []
    continued = amounts - start
    mass = continued.sum(axis=-1)
    good = guarded((continued[..., place] - found.purity * mass).T, found.confidence) >= 0.0
    kept = np.where(good, mass.mean(axis=0), 0.0)
    last = int(kept.argmax())
    if kept[last] > least.mean():
        options.append(_option(found, place, by, False, 0, last, marks, at, continued[:, last]))
    first, end = np.triu_indices(len(marks), 1)
    total = amounts.sum(axis=-1)
    # what is there of the target beyond what the purity asks for: a receiver meets it where its ends differ by 0 or more
    excess = np.ascontiguousarray((amounts[..., place] - found.purity * total).T)
    mean = total.mean(axis=0)[end] - total.mean(axis=0)[first]
    good = (guarded(excess[end] - excess[first], found.confidence) >= 0.0) & (mean > least.mean())
    if good.any():
        pair = int(np.where(good, mean, 0.0).argmax())
        a, b = int(first[pair]), int(end[pair])
        options.append(_option(found, place, by, True, a, b, marks, at, amounts[:, b] - amounts[:, a]))
    return options


def _option(
    found: During, place: int, by: By, starts: bool, first: int, last: int, marks: Array, at: Array,
    heart: Array,
) -> _Option:  # fmt: skip
    mass = heart.sum(axis=1)
    meets = float((heart[:, place] >= found.purity * mass - 1e-12).mean())
    return _Option(by, starts, first, last, marks, at, heart, float(mass.mean()), meets)


def _none(curve: Collected, found: During) -> Change:
    """No receiver from now on meets the target."""
    end = curve.end
    return Change(
        "none", "mass", float(np.median(end)), estimate(curve.head_at(end[:, None])[:, 0]), estimate(end),
        estimate(end - found.readings[-1].collected), None, None, 0.0,
    )  # fmt: skip


def _minutes(times: Course, picked: NDArray[np.intp], now: float, when: Array) -> Estimate | None:
    if not np.all(np.isfinite(times.time)):
        return None
    some = Course(times.mass[picked], times.time[picked], times.heat[picked])
    begun, _ = some.at(np.full(len(picked), now))
    reached, _ = some.at(when)
    return estimate(np.maximum(reached - begun, 0.0) / 60.0)
