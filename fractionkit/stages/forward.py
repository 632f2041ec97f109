"""The still run forward: what head, cuts and pot of a run would have been, for many scenarios in one distillation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from fractionkit.stages.space import Space
from fractionkit.still import Charge, Distillation, distil

Array = NDArray[np.float64]

LAG = 0.002
"""Standard deviation, in parts of the charge, of where along the run a reading or a change of receivers really was:
drops under way, a thermometer that follows late (common practice, no source)."""

BEYOND = 0.02
"""Parts of the charge distilled beyond the last cut, so that every scenario gets there."""

NEARLY_ALL = 0.98
TOLERANCE = 1e-4
"""Of the integration: its noise must be small against what a density tells."""


@dataclass(frozen=True)
class Course:
    """A run as the still makes it, S scenarios, K cuts, n components.

    head : (S, K + 1) K at the first drop and at the end of every cut; head_slope : K/kg there.
    w : (S, K, n) mass fractions of the cuts; edge : (S, K + 1, n) of what comes over at the change of receivers.
    rest : (S, n) of what is left; pot : (S, K + 1) K in the pot where head is. short : (S,) kg that could not come over any more.
    along_head, along_w : (S, P) and (S, P, n), head temperature and what comes over at the masses of `Bench.along`.
    """

    head: Array
    head_slope: Array
    w: Array
    edge: Array
    rest: Array
    pot: Array
    short: Array
    along_head: Array
    along_w: Array

    def take(self, index: NDArray[np.intp]) -> Course:
        """Scenarios ``index``."""
        return Course(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence[Course]) -> Course:
        """Scenarios one after the other."""
        return cls(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)})


@dataclass(frozen=True)
class Bench:
    """What of the run is fixed: ends : (K,) kg distilled at the end of every cut; moles : mol that this is about.

    lag : kg. along : (P,) kg at which curves are wanted.
    """

    ends: Array
    moles: float
    lag: float
    along: Array


def course(space: Space, bench: Bench, v: Array) -> Course:
    """Run S scenarios with parameters ``v`` (S, d) through one call of `distil`."""
    order = np.argsort(v[:, 0], kind="stable")  # a chunk of scenarios costs as much as its tallest column
    back = np.empty_like(order)
    back[order] = np.arange(len(order))
    s = space.scenarios(v[order])
    moles = (s.w / space.mixture.molar_mass).sum(axis=1) * s.mass
    room = NEARLY_ALL * (1.0 - s.holdup)
    whole = distil(
        s.volatility,
        Charge(s.w, s.mass, "mass"),
        s.stages,
        s.reflux,
        space.pressure,
        distilled=np.minimum(bench.moles / moles + BEYOND, room),
        column_holdup=s.holdup * moles,
        tolerance=TOLERANCE,
    )
    return _read(whole, bench).take(back)


def _read(whole: Distillation, bench: Bench) -> Course:
    size, last = len(bench.ends), bench.ends[-1]
    at = np.concatenate([[0.0], bench.ends])
    marks = np.concatenate([np.maximum(at - bench.lag, 0.0), at, at + bench.lag, bench.along])
    order = np.argsort(marks, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    before, here, after, along = np.split(place, [size + 1, 2 * size + 2, 3 * size + 3])
    found = whole.cut_at_mass(marks[order])
    amounts = np.cumsum(found.amounts, axis=1) * whole.molar_mass  # kg of each component so far, (S, marks, n)
    head = found.head_end
    between = amounts[:, after] - amounts[:, before]
    span = between.sum(axis=-1)
    slope = (head[:, after] - head[:, before]) / np.maximum(span, 0.1 * bench.lag)
    cuts = np.diff(amounts[:, here], axis=1)
    charge = whole.charge * whole.molar_mass
    total = whole.distilled_mass[:, -1]
    step = bench.along[1] - bench.along[0] if len(bench.along) > 1 else bench.lag
    near = amounts[:, along] - amounts[:, np.concatenate([along[:1], along[:-1]])]
    rest = charge - amounts[:, here[-1]]
    return Course(
        head=head[:, here],
        head_slope=slope,
        w=_unit(cuts),
        edge=_unit(between),
        rest=_unit(rest),
        pot=found.pot_end[:, here],
        short=np.maximum(last - total, 0.0),
        along_head=head[:, along],
        along_w=_unit(np.where(near.sum(axis=-1, keepdims=True) > 0.1 * step, near, amounts[:, along])),
    )


def _unit(mass: Array) -> Array:
    safe = np.maximum(mass, 0.0) + 1e-15
    return np.asarray(safe / safe.sum(axis=-1, keepdims=True))
