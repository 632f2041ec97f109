"""What a corrected reading carries: its value, the error fresh in each reading and the errors all readings share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Correction:
    """One step between what an instrument showed and the value used, for the report.

    ``change`` is in the unit named; ``u`` is the standard uncertainty that the step adds; ``source`` says where the
    equation or constant comes from.
    """

    what: str
    change: float
    u: float
    unit: str
    source: str


@dataclass(frozen=True)
class Measured:
    """Corrected readings of one kind, one entry a cut.

    value : (K,) SI, NaN where the reading was not taken.
    repeat : (K,) standard uncertainty that is fresh in each reading (repeatability, resolution).
    shared : name of an error that repeats -> (K,) change of the reading, in SI, for one standard deviation of it. A
        name that occurs in two kinds of reading (one thermometer used for both) is one and the same error.
    corrections : the steps taken, for the report.
    warnings : sentences on what the method cannot answer.
    """

    value: Array
    repeat: Array
    shared: Mapping[str, Array] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()
