"""What a plan of receiver changes holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.lots.decide import Decision
from fractionkit.planning.cutting.curve import By

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Receiver:
    """One receiver of the plan, with its S scenarios.

    name : "R1" for the first. start, end : marks, kg over or K as read (-inf the first drop, inf when distilling
    stops). mass : (S,) kg. w : (S, n) mass fractions. head_start, head_end : (S,) K as read.
    meets : part of the scenarios in which it meets the purity by itself. decision, reason : as for the cuts of a run.
    """

    name: str
    start: float
    end: float
    mass: Array
    w: Array
    head_start: Array
    head_end: Array
    meets: float
    decision: Decision
    reason: str


@dataclass(frozen=True)
class ResidueOption:
    """The pot kept as the product: distil ``stop`` kg and keep what stays.

    head : (S,) K as read when distilling stops. mass, assay : (S,) kg and mass fraction of the pot with what drains
    back from the column. recovery : (S,). probability that it meets the purity. better : more mass than the heart.
    """

    stop: float
    head: Array
    mass: Array
    assay: Array
    recovery: Array
    probability: float
    better: bool


@dataclass(frozen=True)
class CutPlan:
    """Where to change receivers.

    component, purity, confidence, by : what was asked. receivers : in the order they are filled.
    heart : number of the one to keep, None where nothing reaches the purity. kept, assay, recovery : (S,) kg, mass
    fraction, and part of the target charged that the heart holds; 0 without one. probability : that the heart meets
    the purity. possible : (S,) kg to be kept if a scenario were known and cut for itself. reach : the highest assay
    that a cut has in ``confidence`` of the scenarios. rest, rest_assay : (S,) kg left in pot and column, and its assay;
    left : (n,) kg of each component in it, the mean.
    stops : whether distilling stops before everything that could come over has. residue : None where the pot never
    meets the purity. text : all that in sentences.
    """

    names: tuple[str, ...]
    component: int
    purity: float
    confidence: float
    by: By
    receivers: tuple[Receiver, ...]
    heart: int | None
    kept: Array
    assay: Array
    recovery: Array
    probability: float
    possible: Array
    reach: float
    rest: Array
    rest_assay: Array
    left: Array
    stops: bool
    residue: ResidueOption | None
    text: tuple[str, ...]

    @property
    def ends(self) -> Array:
        """Marks (C,) where the receivers end, kg or K."""
        return np.array([receiver.end for receiver in self.receivers])

    @property
    def masses(self) -> Array:
        """Kilograms (S, C) over in all when each receiver is taken away."""
        return np.cumsum(np.stack([receiver.mass for receiver in self.receivers], axis=-1), axis=-1)


@dataclass(frozen=True)
class Frontier:
    """Most kept mass against assay.

    purity : (L,) assay asked for. guarded : (L,) mean kg of the best cut that meets it in ``confidence`` of the
    scenarios. low, median, high : (L,) 2.5, 50 and 97.5 % quantiles of what each scenario would give were it known.
    total : kg of the target in the charge, mean.
    """

    component: int
    confidence: float
    purity: Array
    guarded: Array
    low: Array
    median: Array
    high: Array
    total: float
