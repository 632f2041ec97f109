"""What a run says of its still. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import Estimate, Flag

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CutOfStill:
    """One cut as the still makes it, beside what was assessed from the readings alone.

    mass : kg; ends : kg distilled at its end. predicted, assessed : mass fractions (n,) as spans. total_reflux : stages
    that would separate so at total reflux, pot at the middle of the cut against the cut's mean; None where unknown.
    """

    name: str
    mass: float
    ends: float
    predicted: tuple[Estimate, ...]
    assessed: tuple[Estimate, ...]
    total_reflux: Estimate | None


@dataclass(frozen=True)
class Course95:
    """Head temperature and composition along the run: at ``mass`` (P,) kg the middle and 95 % band.

    head : (3, P) K: low, median, high, as the run's thermometer would read, corrected. w : (3, P, n) of what comes over.
    read_mass, read_head : (R,) readings after correction.
    """

    mass: Array
    head: Array
    w: Array
    read_mass: Array
    read_head: Array


@dataclass(frozen=True)
class FittedStill:
    """The user's own still as a plan takes it: joint draws (D,), and mean with standard uncertainty.

    stages : theoretical stages, the pot counted. holdup : parts of the charge (mol); holdup_volume : m3 of liquid.
    reflux : ratio in that run, ``reflux_known`` whether anybody noted it.
    """

    stages: float
    stages_u: float
    holdup: float
    holdup_u: float
    holdup_volume: float
    holdup_volume_u: float
    reflux: float
    reflux_known: bool
    stages_draws: Array
    holdup_draws: Array
    reflux_draws: Array


@dataclass(frozen=True)
class StillFit:
    """A run held against the still's own equation.

    stages, holdup (parts of the charge), holdup_mass (kg), reflux : spans after the run. total_reflux : stages that
    would separate as well at total reflux in the middle of the run: what is known best where nobody noted the reflux.
    alternatives : (reflux ratio, stages) pairs that explain the run about as well, for an unknown reflux.
    stated : stages as stated, None where not. chance : probability of readings at least as far from the still as these.
    rows : (reading, its deviate in standard uncertainties), largest first. effective : effective number of samples.
    """

    title: str
    date: str | None
    source: str
    components: tuple[str, ...]
    stages: Estimate
    holdup: Estimate
    holdup_mass: Estimate
    reflux: Estimate
    reflux_known: bool
    total_reflux: Estimate
    alternatives: tuple[tuple[float, float], ...]
    stated: Estimate | None
    chance: float
    freedom: int
    rows: tuple[tuple[str, float], ...]
    cuts: tuple[CutOfStill, ...]
    course: Course95
    flags: tuple[Flag, ...]
    effective: float
    fitted: FittedStill

    @property
    def contradicted(self) -> bool:
        """Whether no number of stages explains the run, so that no honest answer stands."""
        return any(flag.code == "no_still" for flag in self.flags)
