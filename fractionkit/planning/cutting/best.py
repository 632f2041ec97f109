"""Where to cut: receiver changes that keep the most of a component at a purity, and how the rest is divided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fractionkit.errors import Fault, InputError
from fractionkit.lots import decide
from fractionkit.planning.cutting import heart as hearts
from fractionkit.planning.cutting.curve import Array, By, Collected, collected
from fractionkit.planning.cutting.model import CutPlan, Frontier, Receiver, ResidueOption
from fractionkit.planning.cutting.receivers import between_marks, divide_around, mixing
from fractionkit.planning.cutting.words import sentences
from fractionkit.planning.sampling import central
from fractionkit.still import Distillation
from fractionkit.still.equilibrium import unit

__all__ = ["CutPlan", "Frontier", "Receiver", "ResidueOption", "best_cuts", "frontier"]

MOST_RECEIVERS = 40
FINE = 160
"""Marks of a trade-off curve."""

LEVELS = 80


@dataclass(frozen=True)
class _Task:
    curve: Collected
    molar_mass: Array
    component: int
    purity: float
    confidence: float
    by: By
    names: tuple[str, ...]


def best_cuts(
    distillation: Distillation,
    component: int,
    purity: float,
    confidence: float = 0.95,
    receivers: int = 4,
    *,
    by: By = "mass",
    reading_error: ArrayLike = 0.0,
    names: Sequence[str] | None = None,
    stop: ArrayLike | None = None,
    possible: bool = True,
) -> CutPlan:
    """Find the receiver changes that keep the most.

    The heart is the interval of the distillation whose content holds at least ``purity`` of the component in at least
    ``confidence`` of the scenarios (guarded acceptance, JCGM 106:2012, 8.3) and whose mean mass is largest. The other
    receivers divide forerun and tails so that the least is mixed again: least entropy of mixing of what they collect on
    average, which is the least work of separating it. With one receiver it begins with the first drop.

    Parameters
    ----------
    distillation : Distillation
        One or S scenarios of one set-up.
    component : int
        Number of the target.
    purity : number
        Mass fraction wanted, above 0 and below 1.
    confidence : number
        Part of the scenarios that must meet it, above 0 and at most 1.
    receivers : int
        How many there are, 1 or more.
    by : "mass" or "head"
        What the operator watches: the mass collected or the head temperature. Cutting by the head follows each
        scenario; cutting by mass does not.
    reading_error : number or (S,)
        K that the thermometer shows above the truth.
    names : sequence of str
        The components, for the words.
    stop : number or (S,)
        Kilograms distilled when distilling stops; everything distilled if left out.
    possible : bool
        Whether to look for the best cut of each scenario by itself too; it costs as much as the rest. Without it
        ``possible`` of the plan is what is kept.

    Raises
    ------
    InputError
        for arguments that cannot be, all faults at once, and for a target that the charge does not hold. A purity that
        nothing reaches is an answer: ``heart`` is None and ``reach`` is the limit.
    """
    n = distillation.charge.shape[-1]
    called = tuple(names) if names is not None else tuple(f"component {k + 1}" for k in range(n))
    _check(distillation.charge, component, purity, confidence, called)
    if isinstance(receivers, bool) or not 1 <= receivers <= MOST_RECEIVERS:
        raise InputError(Fault(str(receivers), f"1 to {MOST_RECEIVERS} receivers", column="receivers"))
    if by not in ("mass", "head"):
        raise InputError(Fault(str(by), '"mass" or "head"', column="by"))
    curve = collected(distillation, reading_error=reading_error, stop=stop)
    task = _Task(curve, distillation.molar_mass, component, purity, confidence, by, called)
    heart, reach = _heart(task, from_start=receivers == 1)
    each = _each(task, from_start=receivers == 1) if possible else None
    ends, number = changes(curve, task.molar_mass, heart, receivers, by)
    made = _receivers(task, ends, number)
    return _plan(task, made, number, reach, each)


def frontier(
    distillation: Distillation | Collected,
    component: int,
    confidence: float = 0.95,
    *,
    receivers: int = 3,
    purities: ArrayLike | None = None,
) -> Frontier:
    """Most kept mass against assay, receivers changed by mass.

    ``distillation`` one or S scenarios, or what `collected` made of them.
    ``purities`` (L,) rising mass fractions; left out, `LEVELS` of them from the charge's assay to the highest that any
    cut reaches, closer at the upper end. One receiver begins with the first drop.
    """
    _check(distillation.charge, component, 0.5, confidence)
    curve = distillation if isinstance(distillation, Collected) else collected(distillation)
    marks = curve.nodes(FINE, "mass")
    pairs = hearts.all_pairs(curve, curve.at_mass(marks), component, from_start=receivers == 1)
    held = unit(curve.charge)[:, component]
    levels = _levels(float(held.mean()), float(pairs.assay.max())) if purities is None else np.asarray(purities, float)
    if levels.ndim != 1 or not levels.size or np.any(np.diff(levels) <= 0.0) or levels[0] < 0.0 or levels[-1] > 1.0:
        raise InputError(Fault(str(purities), "mass fractions from 0 to 1 that rise", column="purities"))
    level = hearts.guarded(pairs.assay, confidence)
    size = pairs.mass.mean(axis=-1)[:, None]
    # a receiver on a grid is drawn out to where it just meets each level, so that the line has no steps
    kept = np.array([max(hearts.stretched(pairs, level[:, None], size, p).max(), 0.0) for p in levels])
    kept = np.maximum.accumulate(kept[::-1])[::-1]
    each = hearts.most_at(levels, pairs.assay, pairs.mass)
    low, median, high = central(each)
    total = float(curve.charge[:, component].mean())
    return Frontier(component, confidence, levels, kept, low, median, high, total)


def _levels(low: float, high: float) -> Array:
    ends = np.clip([low, high], 1e-6, 1.0 - 1e-9)
    odds = np.log(ends / (1.0 - ends))
    logit = np.linspace(odds[0], odds[1], LEVELS)
    even = np.linspace(ends[0], ends[1], LEVELS)
    return np.union1d(1.0 / (1.0 + np.exp(-logit[::2])), even[::2])


def _check(
    charge: Array, component: int, purity: float, confidence: float, names: tuple[str, ...] | None = None
) -> None:
    n = charge.shape[-1]
    names = tuple(str(k) for k in range(n)) if names is None else names
    faults = []
    if not 0 <= component < n:
        faults.append(Fault(str(component), f"a component, 0 to {n - 1}", column="component"))
    if not 0.0 < purity < 1.0:
        faults.append(Fault(f"{purity:g}", "a mass fraction above 0 and below 1", column="purity"))
    if not 0.0 < confidence <= 1.0:
        faults.append(Fault(f"{confidence:g}", "a probability above 0 and at most 1", column="confidence"))
    if len(names) != n:
        faults.append(Fault(f"{len(names)} names", f"{n}, one a component", column="names"))
    if not faults and not np.any(charge[..., component] > 0.0):
        faults.append(Fault(f"no {names[component]}", f"a charge that holds {names[component]}", column="charge"))
    if faults:
        raise InputError(faults)


def _heart(task: _Task, *, from_start: bool) -> tuple[tuple[float, float] | None, float]:
    """Marks of the heart and the highest guarded assay of any cut."""
    curve = task.curve
    marks = curve.nodes(hearts.NODES, task.by)
    pairs = hearts.all_pairs(curve, curve.at(marks, task.by), task.component, from_start=from_start)
    return hearts.best_pair(
        curve, marks, pairs, task.component, task.confidence, task.by, purity=task.purity, from_start=from_start
    )


def _each(task: _Task, *, from_start: bool) -> Array:
    """Best mass (S,) of each scenario."""
    curve = task.curve
    marks = curve.nodes(hearts.NODES, "mass")
    pairs = hearts.all_pairs(curve, curve.at_mass(marks), task.component, from_start=from_start)
    return hearts.best_each(curve, marks, pairs, task.component, task.purity, from_start=from_start)


def changes(
    curve: Collected, molar_mass: Array, heart: tuple[float, float] | None, receivers: int, by: By
) -> tuple[Array, int | None]:
    """Marks (C,) where the receivers end, and the number of the heart among them.

    The heart is the receiver between two given marks; the others share the rest as `divide_around` says.
    """
    nodes = curve.nodes(hearts.NODES, by)
    finite = nodes.copy()
    if by == "head":
        nodes[0], nodes[-1] = -np.inf, np.inf
    marks = nodes if heart is None else np.union1d(nodes, heart)
    over = curve.at(marks, by).mean(axis=0) / molar_mass
    if heart is None:
        ends, number = marks[divide_around(over, None, receivers)], None
    else:
        first, last = (int(np.searchsorted(marks, mark)) for mark in heart)
        ends = marks[divide_around(over, (first, last), receivers)]
        number = int(np.searchsorted(ends, heart[1]))
    fixed = {len(ends) - 1} | (set() if number is None else {number - 1, number})
    free = [k for k in range(len(ends)) if k not in fixed]

    def cost(before: float, tried: Array, after: float) -> Array:
        reached = curve.at(np.concatenate([[before], tried, [after]]), by).mean(axis=0) / molar_mass
        left, right = reached[1:-1] - reached[0], reached[-1] - reached[1:-1]
        return mixing(np.maximum(left, 0.0)) + mixing(np.maximum(right, 0.0))

    return between_marks(cost, ends, free, finite, start=float(nodes[0])), number


def _receivers(task: _Task, ends: Array, heart: int | None) -> tuple[Receiver, ...]:
    curve = task.curve
    limits = np.concatenate([[0.0 if task.by == "mass" else -np.inf], ends])
    masses = curve.masses(limits, task.by)
    over = curve.at_mass(masses)
    made = np.diff(over, axis=1)
    mass, w = made.sum(axis=-1), unit(made)
    head = curve.head_at(masses)
    meets = ((w[..., task.component] >= task.purity) & (mass > hearts.EMPTY * curve.charge.sum())).mean(axis=0)
    average = unit(made.mean(axis=0))
    others = average.copy()
    others[:, task.component] = -1.0
    main = others.argmax(axis=-1)
    share = mass.mean(axis=0) / max(float(mass.mean(axis=0).sum()), 1e-300)
    low, high = np.quantile(w[..., task.component], [0.025, 0.975], axis=0)
    verdicts = decide(
        np.arange(len(ends)) == (-1 if heart is None else heart),
        meets,
        average[:, task.component],
        low,
        high,
        share,
        task.names[task.component],
        others[np.arange(len(ends)), main],
        tuple(task.names[k] for k in main),
        task.purity,
        task.confidence,
    )
    return tuple(
        Receiver(
            name=f"R{k + 1}", start=float(limits[k]), end=float(limits[k + 1]), mass=mass[:, k], w=w[:, k],
            head_start=head[:, k], head_end=head[:, k + 1], meets=float(meets[k]),
            decision=verdict.decision, reason=verdict.reason,
        )
        for k, verdict in enumerate(verdicts)
    )  # fmt: skip


def _plan(task: _Task, made: tuple[Receiver, ...], heart: int | None, reach: float, possible: Array | None) -> CutPlan:
    curve, t = task.curve, task.component
    nothing = np.zeros(curve.scenarios)
    kept = nothing if heart is None else made[heart].mass
    assay = nothing if heart is None else made[heart].w[:, t]
    charged = np.maximum(curve.charge[:, t], 1e-300)
    over = np.sum([r.mass[:, None] * r.w for r in made], axis=0)
    rest = np.maximum(curve.charge - over, 0.0)
    plan = CutPlan(
        names=task.names, component=t, purity=task.purity, confidence=task.confidence, by=task.by,
        receivers=made, heart=heart, kept=kept, assay=assay, recovery=kept * assay / charged,
        probability=0.0 if heart is None else made[heart].meets,
        possible=kept if possible is None else possible, reach=reach, rest=rest.sum(axis=-1), rest_assay=unit(rest)[:, t],
        left=rest.mean(axis=0),
        stops=bool(np.mean(over.sum(axis=-1)) < (1.0 - 1e-6) * np.mean(curve.end)),
        residue=_residue(task, float(kept.mean())), text=(),
    )  # fmt: skip
    return sentences(plan)


def _residue(task: _Task, kept: float) -> ResidueOption | None:
    """The least to distil so that the pot itself meets the purity, where that ever happens."""
    curve, t = task.curve, task.component
    low, high = 0.0, float(curve.end.max())
    marks = curve.nodes(hearts.NODES, "mass")
    for _ in range(4):  # each round narrows the place to one cell of the last
        left = curve.charge[:, None] - curve.at_mass(marks)
        fits = hearts.guarded(unit(left)[..., t].T, task.confidence) >= task.purity
        if not fits.any():
            return None
        k = int(fits.argmax())
        high, low = marks[k], marks[max(k - 1, 0)]
        marks = np.linspace(low, high, 17) if high > low else marks[k : k + 1]
    stop = np.array([high])
    left = np.maximum(curve.charge - curve.at_mass(stop)[:, 0], 0.0)
    mass, assay = left.sum(axis=-1), unit(left)[:, t]
    head = curve.head_at(np.minimum(stop, curve.end[:, None]))[:, 0]
    return ResidueOption(
        stop=float(high), head=head, mass=mass, assay=assay,
        recovery=left[:, t] / np.maximum(curve.charge[:, t], 1e-300),
        probability=float((assay >= task.purity).mean()), better=float(mass.mean()) > kept,
    )  # fmt: skip
