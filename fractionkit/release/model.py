"""A made-up lot: what the lot report, the label and the command read. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Caution, Constant
from fractionkit.grades.model import GradeVerdict
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction
from fractionkit.sheets.lot_model import EnteredTest

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Parent:
    """Part of a cut or bottle that went into a lot. part : 0 to 1 of it; mass : kg taken.

    origin : the sheet of the run, or "shelf"; title : what the run or the bottle is called.
    """

    origin: str
    name: str  # cut or bottle
    part: float
    mass: float
    composition: dict[str, Estimate]
    title: str = ""


@dataclass(frozen=True)
class Stabiliser:
    """What keeps the solvent: what it had, that distilling removed it, whether it was added again."""

    usual: str  # what the catalogue's cautions name, "" where none
    added: str | None  # as the sheet says, None: not added
    added_on: str | None  # ISO date
    retest_by: str | None  # ISO date
    text: str


@dataclass(frozen=True)
class MadeLot:
    """One lot. assay : mass fraction of the target; draws : (D, n) mass fractions of the whole lot."""

    number: str
    title: str
    date: str
    components: tuple[str, ...]
    target: str
    purity: float
    confidence: float
    parents: tuple[Parent, ...]
    mass: float  # kg
    mass_u: float
    assay: Estimate
    composition: dict[str, Estimate]
    probability_meets_target: float
    meets_target: bool
    draws: Array
    grades: tuple[GradeVerdict, ...]
    label: tuple[str, ...]
    stabiliser: Stabiliser
    storage: tuple[str, ...]
    corrections: tuple[Correction, ...]
    constants: tuple[Constant, ...]
    cautions: tuple[Caution, ...]
    tests: tuple[EnteredTest, ...] = ()  # of this lot, as entered


@dataclass(frozen=True)
class Left:
    """A cut or bottle, or the part of it, that went into no lot; ``takes`` says what it would take, in words.

    target : component of the lot that it comes nearest to. assay : of the target in it. donor, more : the material of
    which ``more`` kg beyond what there is would let the lot take all of it, None where none would.
    """

    origin: str
    name: str
    mass: float
    takes: str
    title: str = ""
    target: str = ""
    assay: Estimate | None = None
    probability_meets_target: float = 0.0
    donor: str | None = None
    more: float | None = None


@dataclass(frozen=True)
class Frontier:
    """Most mass that can be kept at each assay with the stated confidence, for one target: arrays (m,)."""

    target: str
    assay: Array  # mass fraction guaranteed
    mass: Array  # kg
    confidence: float = 0.95
    purity: float | None = None  # what was asked for


@dataclass(frozen=True)
class Release:
    """Everything `fractionkit lot` has to say. economics : lines (words, amount), empty without prices."""

    title: str
    lots: tuple[MadeLot, ...]
    left: tuple[Left, ...]
    frontiers: tuple[Frontier, ...]
    economics: tuple[tuple[str, str], ...]
    flags: tuple[Flag, ...]
