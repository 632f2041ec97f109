"""A weighing on the bench balance for which nobody wrote an uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# 0.05 g and 0.05 % of what is weighed: a top-loading balance with its drift (common practice, no source).
BALANCE_U, BALANCE_RELATIVE = 0.05e-3, 0.0005


def weighing_u(mass: Array | float) -> Array:
    """Standard uncertainty of a weighing for which none was written, kg."""
    return np.asarray(np.hypot(BALANCE_U, BALANCE_RELATIVE * np.asarray(mass, dtype=float)))
