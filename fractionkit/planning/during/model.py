"""Where a distillation stands while it runs, and what to do next. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import Estimate

Array = NDArray[np.float64]


@dataclass(frozen=True)
class BenchReading:
    """What was seen at one moment: ``head`` K as the thermometer shows it, ``collected`` kg in all receivers together.

    row : line of the log it stands in, None where it was typed.
    """

    head: float
    collected: float
    row: int | None = None


@dataclass(frozen=True)
class Mixed:
    """A mass, kg, and what is in it: mass fractions (n,)."""

    mass: Estimate
    w: tuple[Estimate, ...]


@dataclass(frozen=True)
class Change:
    """The next change of receivers.

    what : "start of the heart", "end of the heart", or "none" where no receiver from now on meets the target.
    by : "head" or "mass"; at : K as the thermometer will read, or kg collected in all. head, collected : what the other
    will probably show then. ahead : kg still to come until then; minutes : None where the boil-up is not known.
    heart : what the heart will then weigh and hold; probability : that it meets the target.
    """

    what: str
    by: str
    at: float
    head: Estimate
    collected: Estimate
    ahead: Estimate
    minutes: Estimate | None
    heart: Mixed | None
    probability: float


@dataclass(frozen=True)
class During:
    """The answer while a distillation runs.

    readings : those that were used; ``since`` kg collected when the present receiver was set under.
    surprise : probability of readings at least as far from the plan, were the plan right. effective : scenarios of the
    plan that carry the answer. reading_error : K that the thermometer shows above the truth, after the readings.
    receiver : what the present receiver holds; coming : mass fractions of what comes over now; left : in pot and column.
    meets : probability that the present receiver meets the target as it is.
    text : the answer in sentences, most important first.
    """

    title: str
    source: str
    setup: str
    reflux: float
    components: tuple[str, ...]
    target: str
    purity: float
    confidence: float
    readings: tuple[BenchReading, ...]
    since: float
    surprise: float
    effective: float
    impossible: str
    reading_error: Estimate | None = None
    stages: Estimate | None = None
    receiver: Mixed | None = None
    coming: tuple[Estimate, ...] = ()
    left: Mixed | None = None
    meets: float | None = None
    change: Change | None = None
    text: tuple[str, ...] = ()
