"""What the readings of a run say of composition, as arrays: corrected values with their errors, one entry a vessel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Detection:
    """A qualitative test: ``positive`` or not, for component number ``component`` in cut number ``cut``.

    ``limit`` is the mass fraction that the test finds 95 times in 100.
    """

    cut: int
    component: int
    positive: bool
    limit: float


@dataclass(frozen=True)
class Balance:
    """What ties the vessels of a run together, kg.

    mass : (K,) of each vessel but the charge. charge, charge_u : what went in, NaN where unknown. ordered : whether the
    components left in the order of their volatility, lightest first (one charge, no reflux raised midway). holdup : kg of
    liquid on its way through head and column, NaN where not stated.
    """

    mass: Array
    charge: float = float("nan")
    charge_u: float = 0.0
    ordered: bool = True
    holdup: float = float("nan")


@dataclass(frozen=True)
class Evidence:
    """Corrected readings of K vessels: the cuts in order, then the residue if ``residue``, the charge if ``charge``.

    names : (K,) of the vessels. pressure, pressure_u : Pa at the still.
    head_start, head_end : K, head temperature at the start and the end of each cut.
    range_start, range_end : K, first drop and dry point of a boiling-range test of the cut.
    pot : K, temperature in the pot that still held this vessel and all after it; only where there is a residue.
    density : kg/m3 at ``density_temperature`` (K,) in K; index at ``index_temperature``.
    """

    names: tuple[str, ...]
    pressure: float
    pressure_u: float
    head_start: Measured
    head_end: Measured
    range_start: Measured
    range_end: Measured
    density: Measured
    density_temperature: Array
    index: Measured
    index_temperature: Array
    detections: tuple[Detection, ...] = field(default=())
    stated: Array | None = None  # (K, n) mass fractions known from elsewhere (a second laboratory), NaN where not
    stated_u: Array | None = None
    residue: bool = False
    charge: bool = False
    balance: Balance | None = None
    pot: Measured | None = None

    @property
    def size(self) -> int:
        """Number of vessels."""
        return len(self.names)

    @property
    def cuts(self) -> int:
        """Number of cuts."""
        return self.size - self.residue - self.charge

    def measured(self) -> tuple[Measured, ...]:
        """All kinds of reading, in a fixed order."""
        return (
            self.head_start,
            self.head_end,
            self.range_start,
            self.range_end,
            self.density,
            self.index,
        )


def nothing(size: int) -> Measured:
    """A kind of reading that was not taken for any of ``size`` cuts."""
    empty = np.full(size, np.nan)
    return Measured(empty, empty)


def shared_names(kinds: Sequence[Measured]) -> tuple[str, ...]:
    """Names of the instruments' errors that repeat, each once, in the order met; only those that some reading feels."""
    names: dict[str, None] = {}
    for kind in kinds:
        taken = np.isfinite(kind.value)
        for name, sensitivity in kind.shared.items():
            if np.any(taken & (np.nan_to_num(sensitivity) != 0.0)):
                names.setdefault(name)
    return tuple(names)
