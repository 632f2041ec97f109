"""The plan: what the report, the pictures and the command read. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Caution
from fractionkit.planning.cutting.model import CutPlan, Frontier
from fractionkit.planning.setups import SetUp
from fractionkit.planning.shortcut import Shortcut
from fractionkit.quantities import Estimate, Flag
from fractionkit.sheets.still_model import Rank

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """What the pictures draw of one set-up along the kilograms distilled, (K,) or (K, n).

    head, head_low, head_high : K as the own thermometer will read, median and 95 %. w : mean mass fractions coming over.
    """

    mass: Array
    head: Array
    head_low: Array
    head_high: Array
    w: Array


@dataclass(frozen=True)
class Costs:
    """What a distillation takes until the heart is in its receiver (or to its end, without a heart).

    time : s, start-up included, None where nothing says how fast it boils. heat : J. coolant : m3 of water.
    whole_time : s to the end of the last receiver.
    """

    time: Estimate | None
    heat: Estimate
    coolant: Estimate
    whole_time: Estimate | None


@dataclass(frozen=True)
class Trial:
    """One set-up at one reflux ratio.

    cuts : receivers, kept mass and recovery of S scenarios; None where the set-up cannot be run at all.
    kept : kg of the heart; recovery : part of the target charged that the heart holds; assay of the heart.
    portions : decision -> (number of receivers, kg) of what is not kept. rest : kg left in pot and column.
    impossible : why it does not reach the target, in a sentence; "" where it does. limit : the purest cut or drop that
    comes with the confidence asked for, where it does not.
    """

    setup: SetUp
    reflux: float
    stages: Estimate
    cuts: CutPlan | None = None
    kept: Estimate | None = None
    assay: Estimate | None = None
    recovery: Estimate | None = None
    portions: dict[str, tuple[int, Estimate]] | None = None
    rest: Estimate | None = None
    costs: Costs | None = None
    course: Course | None = None
    shortcut: Shortcut | None = None
    impossible: str = ""
    limit: float | None = None

    @property
    def reaches(self) -> bool:
        """Whether it gives something of the purity asked for."""
        return self.cuts is not None and self.cuts.heart is not None

    @property
    def mean_kept(self) -> float:
        """Mean kilograms kept."""
        return 0.0 if self.cuts is None else float(self.cuts.kept.mean())


@dataclass(frozen=True)
class Asked:
    """What a sheet asks, and the feed it speaks of: component -> mass fraction; ``scenarios`` is how many were drawn."""

    title: str
    date: str | None
    source: str
    components: tuple[str, ...]
    target: str
    purity: float
    confidence: float
    origin: str
    feed: dict[str, Estimate]
    scenarios: int
    cautions: tuple[Caution, ...]


@dataclass(frozen=True)
class Plan(Asked):
    """Set-ups compared for one feed and one target; ``trials`` in the order of ``rank``, those that fail last.

    charge : kg. reading : K that the thermometer is expected to show above the truth.
    frontiers : kept mass against assay of the best reflux of some set-ups, by name; only where pictures were asked for.
    """

    rank: Rank
    charge: Estimate
    pressure: float
    pressure_u: float
    reading: Estimate
    receivers: int
    trials: tuple[Trial, ...]
    flags: tuple[Flag, ...] = ()
    frontiers: tuple[tuple[str, Frontier], ...] = ()

    @property
    def best(self) -> Trial | None:
        """The first in rank, None where no set-up reaches the target."""
        return self.trials[0] if self.trials and self.trials[0].reaches else None

    @property
    def best_of_each(self) -> tuple[Trial, ...]:
        """The best reflux ratio of every set-up, in rank."""
        seen: dict[str, Trial] = {}
        for trial in self.trials:
            seen.setdefault(trial.setup.name, trial)
        return tuple(seen.values())
