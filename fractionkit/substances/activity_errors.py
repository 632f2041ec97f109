"""Standard uncertainties of the activity table: what evidence and the distance between two group methods say.

The error of a pair is g^E/RT = A x_i x_j + B x_i x_j (x_i - x_j): A moves both ends of ln gamma by the same amount, B by
opposite ones. Original UNIFAC and Dortmund are two draws of one value: their mean is the centre and half their distance
is, exactly, the standard error of a mean of two; so either method lies at one standard uncertainty of the table.
"""

from __future__ import annotations

import numpy as np

from fractionkit.substances import Substance, get
from fractionkit.substances.activity_sources import Model, available, fit_range, group_contribution

CHLORINATED = ("chloroalkane", "chloroalkene", "chloroaromatic")
CHECKED_U = 0.06
"""Published set that gives a printed azeotrope within 0.5 K (0.06 moves an alcohol azeotrope by about 0.3 K)."""
UNCHECKED_U = 0.12
"""Published set without such a check: of the bank's sets that could be checked, one in four missed by 0.8-2 K."""
AGREEMENT = 0.06
AGREED_U = 0.04
"""Chlorinated pairs in which the two group methods agree within 0.06 (trichloroethylene + tetrachloroethylene,
chloroform + carbon tetrachloride: the measured g^E of the latter gives an amplitude of 0.13, from memory, the methods
give 0.12-0.14)."""
SKEW = 0.4
"""Least asymmetry as a share of the least symmetric error. Over the pairs for which both methods have parameters the rms
of the asymmetric half-distance is 0.40 (ketones and esters), 0.43 (chlorinated), 0.46 (water), 0.5 (alcohols) and 0.7
(hydrocarbons) of the symmetric one's."""
MEASURED_SKEW = 0.5
"""The same for a published set: drawn through measured curves, it is as good in its shape as in its size."""
FAMILY_SKEW = {"water": 0.20, "chlorinated": 0.07, "alcohol": 0.06, "oxygenated": 0.06, "hydrocarbon": 0.04}
"""Asymmetry where a measured azeotrope chose the method, which says little about the shape of the curve: rms of the
asymmetric half-distances over the family's pairs without dissolved substances (water 0.21, chlorinated 0.073, alcohols
0.057 without chloroalkene + methanol, ketones and esters 0.064, hydrocarbons 0.040)."""
LARGEST = 0.6
"""Half-distance beyond which the methods say only that one of them is absurd (water)."""


def floor(first: Substance, second: Substance) -> float:
    """Least standard uncertainty of the Margules amplitude of a pair whose parameters are computed.

    Set by how far the group methods miss azeotropes, tables and solubilities where both exist (tests/published):

    - carbon tetrachloride + trichloroethylene, measured: original UNIFAC is 0.3 K low and Dortmund 0.8 K high, which is
      0.04 and 0.1 in the amplitude: 0.07 for pairs of chlorinated solvents;
    - alcohols miss azeotropes by up to 1 K: 0.15;
    - water with what hardly mixes misses solubilities by a factor of up to 1.6: 0.5; with what mixes well 0.2;
    - a dissolved gas or solid is ideal within 0.3 where measured (chlorine in carbon tetrachloride, from memory).
    """
    families = {first.family, second.family}
    if first.dissolved or second.dissolved:
        return 0.3
    if "water" in families:
        return 0.2 if families & {"alcohol", "ketone", "ester"} else 0.5
    if families <= set(CHLORINATED):
        return 0.07
    if "alcohol" in families:
        return 0.15 if families != {"alcohol"} else 0.08
    if families & {"ketone", "ester"}:
        return 0.10
    return 0.07


def group(first: Substance, second: Substance) -> str:
    """Key of `FAMILY_SKEW` of a pair."""
    families = {first.family, second.family}
    if "water" in families:
        return "water"
    if families <= set(CHLORINATED):
        return "chlorinated"
    if "alcohol" in families:
        return "alcohol"
    return "oxygenated" if families & {"ketone", "ester"} else "hydrocarbon"


def ends(first: str, second: str, model: Model) -> np.ndarray | None:
    """Return ln gamma at infinite dilution (2,) at the middle of the pair's range, None without parameters."""
    if not available(model, first, second):
        return None
    low, high = fit_range(get(first), get(second))
    x, T = np.array([0.0, 1.0]), np.full(2, 0.5 * (low + high))
    found = group_contribution(model, first, second)(x, T)
    return np.array([found[0, 0], found[1, 1]])


def half_distances(first: str, second: str) -> tuple[float, float, float] | None:
    """Distances between the group methods at infinite dilution, None if only one has parameters.

    Half the symmetric part, half the antisymmetric part (both >= 0), and the mean distance of ln gamma.
    """
    a, b = ends(first, second, "UNIFAC"), ends(first, second, "Dortmund")
    if a is None or b is None:
        return None
    d = a - b
    return abs(float(d.sum())) / 4.0, abs(float(d[1] - d[0])) / 4.0, float(np.abs(d).mean())


def least(first: Substance, second: Substance) -> float:
    """Least standard uncertainty of a pair whose two group methods are known: `floor`, or less where they agree."""
    distance = half_distances(first.name, second.name)
    agree = distance is not None and distance[2] <= AGREEMENT
    value = floor(first, second)
    return min(value, AGREED_U) if agree and group(first, second) == "chlorinated" else value


def of_mean(first: Substance, second: Substance, rms: float) -> tuple[float, float]:
    """Return u and u_asymmetry of the mean of the two group methods, fitted as NRTL within ``rms``."""
    distance = half_distances(first.name, second.name)
    assert distance is not None
    value = least(first, second)
    return _beside(max(value, distance[0]), rms), _beside(max(SKEW * value, distance[1]), rms)


def of_one(first: Substance, second: Substance, rms: float) -> tuple[float, float]:
    """Return u and u_asymmetry of one group method, chosen by evidence or alone; a method alone deserves less trust.

    ``rms`` deviation of ln gamma of its fit as NRTL.
    """
    distance = half_distances(first.name, second.name)
    value = 1.5 * floor(first, second) if distance is None else max(least(first, second), min(distance[0], LARGEST))
    return _beside(value, rms), _beside(max(SKEW * value, FAMILY_SKEW[group(first, second)]), rms)


def _beside(u: float, rms: float) -> float:
    return float(np.hypot(u, rms))
