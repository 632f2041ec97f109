"""Where the activity table comes from: group contribution through thermo, and the fit of NRTL to it.

The only user of thermo's UNIFAC; the import is inside the functions, so that nobody pays for it who does not rebuild
the table. ``python -m fractionkit.substances.activity_table`` rebuilds fractionkit/mixture/data/activity_pairs.csv.

Trap: thermo's "NIST 2015" modified UNIFAC files carbon tetrachloride under group ids that its interaction table does
not use; it is silently wrong and is never used here. Another: where a pair of main groups has no parameters, thermo
takes the interaction as zero without a word; `available` finds out beforehand.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fractionkit.substances import Substance

Array = NDArray[np.float64]
Model = Literal["UNIFAC", "Dortmund"]

#: Subgroups (id -> count). UNIFAC and Dortmund share the ids but for the secondary alcohol.
GROUPS: dict[str, dict[int, int]] = {
    "dichloromethane": {47: 1},
    "chloroform": {50: 1},
    "carbon tetrachloride": {52: 1},
    "1,1-dichloroethane": {1: 1, 48: 1},
    "1,2-dichloroethane": {44: 2},
    "1,1,1-trichloroethane": {1: 1, 51: 1},
    "1,1,2-trichloroethane": {44: 1, 48: 1},
    "1,1,2,2-tetrachloroethane": {48: 2},
    "pentachloroethane": {48: 1, 51: 1},
    "hexachloroethane": {51: 2},
    "cis-1,2-dichloroethylene": {6: 1, 69: 2},
    "trans-1,2-dichloroethylene": {6: 1, 69: 2},
    "trichloroethylene": {8: 1, 69: 3},
    "tetrachloroethylene": {69: 4, 70: 1},
    "1,2-dichloropropane": {1: 1, 44: 1, 45: 1},
    "chlorobenzene": {9: 5, 53: 1},
    "ethanol": {1: 1, 2: 1, 14: 1},
    "methanol": {15: 1},
    "2-propanol": {1: 2, 3: 1, 14: 1},
    "acetone": {1: 1, 18: 1},
    "2-butanone": {1: 1, 2: 1, 18: 1},
    "ethyl acetate": {1: 1, 2: 1, 21: 1},
    "2-methyl-2-butene": {1: 3, 8: 1},
    "toluene": {9: 5, 11: 1},
    "hexane": {1: 2, 2: 4},
    "water": {16: 1},
}
DORTMUND_GROUPS = GROUPS | {"2-propanol": {1: 2, 3: 1, 81: 1}}

FIT_X = (0.0, 0.02, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.88, 0.94, 0.98, 1.0)
SPLITTING_ALPHA = 0.2
"""Non-randomness for pairs that split into two liquids, as Renon and Prausnitz (1968) recommend; a free one is
ill determined there."""


class Nrtl(NamedTuple):
    """tau_ij = a_ij + b_ij/T."""

    a_ij: float
    a_ji: float
    b_ij: float
    b_ji: float
    alpha: float

    def ln_gamma(self, x: Array, T: Array) -> Array:
        """Return ln gamma (..., 2) of the binary at mole fractions ``x`` (...) of the first and ``T`` (...)."""
        tau, rev = self.a_ij + self.b_ij / T, self.a_ji + self.b_ji / T
        G, H = np.exp(-self.alpha * tau), np.exp(-self.alpha * rev)
        z = 1.0 - x
        first = z**2 * (rev * (H / (x + z * H)) ** 2 + tau * G / (z + x * G) ** 2)
        second = x**2 * (tau * (G / (z + x * G)) ** 2 + rev * H / (x + z * H) ** 2)
        return np.stack([first, second], axis=-1)


@lru_cache(maxsize=2)
def _tables(model: Model) -> tuple[Any, Any, int, dict[str, dict[int, int]]]:
    from thermo import unifac

    if model == "UNIFAC":
        return unifac.UFSG, unifac.UFIP, 0, GROUPS
    return unifac.DOUFSG, unifac.DOUFIP2006, 1, DORTMUND_GROUPS


def available(model: Model, first: str, second: str) -> bool:
    """Whether the model has groups for both substances and parameters between all their main groups."""
    subgroups, interactions, _, groups = _tables(model)
    if first not in groups or second not in groups:
        return False
    mains = {subgroups[g].main_group_id for g in (*groups[first], *groups[second])}
    return all(b in interactions.get(a, {}) for a in mains for b in mains if a != b)


def group_contribution(model: Model, first: str, second: str) -> Callable[[Array, Array], Array]:
    """Return ln gamma (N, 2) as a function of x (N,) of the first and T (N,)."""
    from thermo.unifac import UNIFAC

    subgroups, interactions, version, groups = _tables(model)
    base = UNIFAC.from_subgroups(
        320.0, [0.5, 0.5], [groups[first], groups[second]],
        subgroups=subgroups, interaction_data=interactions, version=version,
    )  # fmt: skip

    def ln_gamma(x: Array, T: Array) -> Array:
        # the package divides by x: keep off the ends by an amount that does not matter
        inside = np.clip(x, 1e-9, 1.0 - 1e-9)
        points = zip(inside, T, strict=True)
        return np.log([base.to_T_xs(float(t), [float(v), float(1.0 - v)]).gammas() for v, t in points])

    return ln_gamma


def mean_of_models(first: str, second: str) -> Callable[[Array, Array], Array]:
    """Return the mean ln gamma (N, 2) of original UNIFAC and Dortmund as a function of x (N,) and T (N,)."""
    one, two = (group_contribution(model, first, second) for model in ("UNIFAC", "Dortmund"))
    return lambda x, T: np.asarray(0.5 * (one(x, T) + two(x, T)), dtype=np.float64)


def fit_range(first: Substance, second: Substance) -> tuple[float, float]:
    """Temperatures of a fit: from 25 K below the lower boiling point to the higher one, within 285-430 K."""
    boiling = [s.boiling_point.value for s in (first, second)]
    low = min(max(min(boiling) - 25.0, 285.0), 380.0)
    return low, max(min(max(boiling), 430.0), low + 30.0)


def grid(T_low: float, T_high: float) -> tuple[Array, Array]:
    """Compositions and temperatures (N,) of a fit: three temperatures that span the pair's boiling range."""
    T, x = (m.ravel() for m in np.meshgrid(np.linspace(T_low, T_high, 3), FIT_X, indexing="ij"))
    return x, T


def least_stability(ln_gamma: Callable[[Array, Array], Array], T: float) -> float:
    """Least value of x d ln(x gamma_1)/dx over compositions at ``T``: negative where the liquid splits."""
    return float(_stability(ln_gamma, np.array([T])).min())


def _stability(ln_gamma: Callable[[Array, Array], Array], T: Array) -> Array:
    """X d ln(x gamma_1)/dx at every T and a grid of x, by central differences."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 31)[1:-1]))
    x, t = (m.ravel() for m in np.meshgrid(x, T))
    step = 1e-4 * x * (1.0 - x)
    rise = ln_gamma(x + step, t)[:, 0] - ln_gamma(x - step, t)[:, 0]
    return np.asarray(1.0 + x * rise / (2.0 * step), dtype=np.float64)


def fit_nrtl(ln_gamma: Callable[[Array, Array], Array], T_low: float, T_high: float) -> tuple[Nrtl, float]:
    """Fit NRTL to ``ln_gamma`` between two temperatures; return the parameters and the rms deviation of ln gamma.

    Weights fall with the size of ln gamma, so that a pair that hardly mixes is right where a liquid can exist. alpha is
    free in 0.2-0.47 (0.2 for pairs that split). A pair that does not split in the source must not split in the fit:
    stability below half the source's is punished.
    """
    from scipy.optimize import least_squares

    x, T = grid(T_low, T_high)
    target = ln_gamma(x, T)
    weight = 1.0 / (1.0 + np.abs(target))
    ends = np.array([T_low, T_high])
    stable = _stability(ln_gamma, ends)
    splits = bool(stable.min() < 0.0)
    centre = 0.5 * (T_low + T_high)

    def parameters(p: Array) -> Nrtl:
        # tau at the middle and its slope in T_mid/T - 1: nearly uncorrelated, unlike a and b
        alpha = SPLITTING_ALPHA if splits else float(p[4])
        b_ij, b_ji = centre * p[2], centre * p[3]
        return Nrtl(float(p[0] - p[2]), float(p[1] - p[3]), float(b_ij), float(b_ji), alpha)

    def residual(p: Array) -> Array:
        nrtl = parameters(p)
        # the faint pull towards zero and alpha = 0.3 decides only what the data leave open
        pull = 1e-3 * np.array([p[0], p[1], p[2], p[3], 10.0 * (p[4] - 0.3)])
        parts = [((nrtl.ln_gamma(x, T) - target) * weight).ravel(), pull]
        if not splits:
            parts.append(3.0 * np.minimum(0.0, _stability(nrtl.ln_gamma, ends) - 0.5 * stable))
        return np.concatenate(parts)

    best = None
    for start in ((0.3, 0.3), (1.5, -0.5), (-0.5, 1.5), (2.0, 2.0), (3.0, 1.0), (1.0, 3.0), (6.0, 3.0)):
        found = least_squares(
            residual, [*start, *start, 0.3],
            bounds=([-8.0, -8.0, -12.0, -12.0, 0.2], [14.0, 14.0, 12.0, 12.0, 0.47]),
        )  # fmt: skip
        if best is None or found.cost < best.cost * (1.0 - 1e-6):
            best = found
    assert best is not None
    nrtl = parameters(best.x)
    deviation = nrtl.ln_gamma(x, T) - target
    return nrtl, float(np.sqrt(np.mean(deviation**2)))
