"""Array types of the room and the one check that its compositions pass."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SUM_TOLERANCE = 1e-6


def simplex(values: ArrayLike, n: int, what: str) -> Array:
    """Return ``values`` as floats of shape (..., n) that sum to one.

    Parameters
    ----------
    values
        (..., n) fractions; a sum within 1e-6 of one is scaled to one, negatives down to -1e-12 become zero.
    n
        number of components.
    what
        words for the message, e.g. ``"mole fractions"``.

    Raises
    ------
    InputError
        if the last axis is not ``n`` long, a value is not a finite number >= 0, or a sum is not one.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim == 0 or x.shape[-1] != n:
        raise InputError(Fault(f"shape {x.shape}", f"{what} with {n} components along the last axis"))
    if not np.isfinite(x).all() or (x.size and float(x.min()) < -1e-12):
        bad = x[~np.isfinite(x) | (x < -1e-12)]
        raise InputError(Fault(str(bad.flat[0]), f"{what} that are finite and not negative"))
    x = np.maximum(x, 0.0)
    total = x.sum(axis=-1, keepdims=True)
    if x.size and float(np.abs(total - 1.0).max()) > SUM_TOLERANCE:
        worst = float(total.flat[int(np.abs(total - 1.0).argmax())])
        raise InputError(Fault(f"a sum of {worst:.6g}", f"{what} that sum to 1"))
    return np.asarray(x / total, dtype=np.float64)


def positive(values: ArrayLike, what: str) -> Array:
    """Return ``values`` as finite floats above zero.

    Raises
    ------
    InputError
        if one of them is not.
    """
    v = np.asarray(values, dtype=np.float64)
    if not (np.isfinite(v).all() and (v > 0.0).all()):
        bad = v[~(np.isfinite(v) & (v > 0.0))]
        raise InputError(Fault(str(bad.flat[0]), f"{what} above zero"))
    return v


def pairs(n: int) -> tuple[tuple[int, int], ...]:
    """All pairs (i, j) with i < j of ``n`` components, in the order of the model errors."""
    return tuple((i, j) for i in range(n) for j in range(i + 1, n))
