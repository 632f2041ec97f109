"""Tail of the chi-square distribution for whole degrees of freedom.

scipy.special has it, but importing that takes a tenth of the time in which a run is assessed.
"""

from __future__ import annotations

import math


def chi_square_tail(freedom: int, value: float) -> float:
    """Probability that chi-square with ``freedom`` >= 1 degrees of freedom exceeds ``value`` >= 0.

    Q_1 = erfc(sqrt(x/2)), Q_2 = exp(-x/2), Q_(k+2) = Q_k + (x/2)^(k/2) exp(-x/2)/Gamma(k/2 + 1)
    (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.4.4 to 26.4.8; numbers from memory).
    """
    half = 0.5 * value
    if half <= 0.0:
        return 1.0
    total = math.erfc(math.sqrt(half)) if freedom % 2 else math.exp(-half)
    for k in range(2 - freedom % 2, freedom, 2):
        total += math.exp(0.5 * k * math.log(half) - half - math.lgamma(0.5 * k + 1.0))
    return min(total, 1.0)
