"""Refusing numbers that no bench can show: one fault for each, all told at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, OutOfRangeError

Array = NDArray[np.float64]
ZERO_CELSIUS = 273.15
MAX_FAULTS = 20


@dataclass(frozen=True)
class Place:
    """Where an array of readings stands: its file, the line of each entry, the name of the column."""

    column: str
    file: str | None = None
    rows: Sequence[int] | None = None

    def of(self, index: int, value: str, expected: str) -> Fault:
        """Fault of entry number ``index``."""
        row = None if self.rows is None else int(self.rows[index])
        return Fault(value, expected, self.file, row, self.column)


def celsius(kelvin: float) -> str:
    """A temperature for a message."""
    return f"{kelvin - ZERO_CELSIUS:.6g} °C"


def plain(value: float) -> str:
    """A number for a message."""
    return f"{value:.6g}"


def faults_outside(
    values: ArrayLike,
    low: float,
    high: float,
    place: Place,
    expected: str,
    show: Callable[[float], str] = plain,
    *,
    needed: bool = False,
) -> list[Fault]:
    """Faults of the entries not from ``low`` to ``high``, infinite ones too; NaN only where ``needed``."""
    flat = np.atleast_1d(np.asarray(values, dtype=float)).ravel()
    bad = np.flatnonzero(~((flat >= low) & (flat <= high)) & (needed | ~np.isnan(flat)))
    return [place.of(int(index), show(float(flat[index])), expected) for index in bad[:MAX_FAULTS]]


def demand(faults: Sequence[Fault]) -> None:
    """Raise `OutOfRangeError` with all faults, if there are any."""
    if faults:
        raise OutOfRangeError(list(faults))


def check_uncertainty(value: float | None, name: str) -> None:
    """Refuse an uncertainty that is negative, infinite or NaN. Raises `OutOfRangeError`."""
    if value is not None and not 0.0 <= value < np.inf:
        raise OutOfRangeError(Fault(plain(value), "an uncertainty of zero or more", column=name))
