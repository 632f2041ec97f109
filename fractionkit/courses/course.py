"""The course of a distillation as a prior: what the still's equation lets successive cuts hold.

Between two moments the pot loses dn_i = -x_Di dn (Rayleigh, Phil. Mag. 4 (1902) 521), the distillate x_D being what a
column of N theoretical stages at the reflux ratio R takes off that pot (`column`). Over a step in which the rates x_D/x stay
as they are the pot keeps n_i exp(-a_i t), and t follows from the mass that came over. So the whole course is given by what
was charged, what share of it stayed in the pot, N and R: some numbers, and the masses of the cuts.

Volatilities are in error by the errors of the activities of every pair; the reflux ratio changes a little from start to end.
A still holds liquid up, is fed back unevenly, loses heat: what that makes of a course is left to `stray`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.column import Column, terms
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

SIMPLE, SHARPER = (
    0.85,
    3.4,
)  # N = 1 + ln(1 + exp(3.4 v - 0.85)): nine of twenty are simple stills, N < 1.25; one in six has 3.6
LN_REFLUX, LN_REFLUX_SPREAD = 1.1, 0.7  # of ln R: 0.8 to 12
MOST = 12.0  # stages
LEAST_WRONG = 0.04  # amplitude of an error of activity: vapour pressures are in error too
# Two group methods differ along a course by still more than errors of all pairs that go together (mixture.constants).
WIDER = 2.0
DRIFT = 0.3  # of ln R, from start to end
LEFT, LEFT_SPREAD = -2.0, 0.8  # logit of the share that stays in the pot: 3 to 40 %
WEIGHED = 0.05  # logarithm of a residue's mass, when it was weighed: what wets the still is not in it
STEPS, NEWTON_STEPS = 2, 5  # of a cut; of the time that a step takes
ROUNDS, FIRST_ROUNDS = 3, 8  # of a distillate, from the one just before; of the first one
POINTS = 60


@dataclass(frozen=True)
class Course:
    """Courses of one run's distillation, each a vector v of `size` numbers, and what they let the cuts hold.

    order : (n,) components from light to heavy. molar_mass : (n,) in that order. volatility : (T, n - 1) coefficients of
    ln alpha against the heaviest, see `column`. wrong : (n (n - 1)/2,) standard deviations of the amplitudes of the errors of
    activity of all pairs in that order, as `numpy.triu_indices` has them.
    mass : (K,) kg of the cuts. left, left_spread : logit of the residue's share of the charge.
    residue : whether the residue is a vessel too.
    """

    order: tuple[int, ...]
    molar_mass: Array
    volatility: Array
    wrong: Array
    mass: Array
    left: float
    left_spread: float
    residue: bool

    @classmethod
    def of(cls, mixture: Mixture, pressure: float, order: tuple[int, ...], mass: Array, *, residue: bool) -> Course:
        """From the masses (V,) of a run's vessels, the residue last if it is one of them."""
        cuts = mass[:-1] if residue else mass
        left, spread = LEFT, LEFT_SPREAD
        if residue:
            left, spread = float(np.log(mass[-1] / cuts.sum())), WEIGHED
        picked = list(order)
        volatility, wrong = _volatility(mixture, pressure, picked)
        return cls(order, mixture.molar_mass[picked], volatility, wrong, cuts, left, spread, residue)

    @property
    def n(self) -> int:
        """Number of components."""
        return len(self.order)

    @property
    def size(self) -> int:
        """Numbers that give one course: n - 1 of the charge, left, N, R, drift, and one error of activity a pair."""
        return self.n + 3 + len(self.wrong)

    def log_prior(self, v: Array) -> Array:
        """Log density (M,) of courses v (M, size): every charge alike (flat on the simplex), all else standard normal.

        Of a charge, each of the first n - 1 components in turn is cos^2 of an angle of what those before it leave: in the angles
        a line on the simplex stays nearly one, and a component that is hardly there is not infinitely far off.
        """
        angle = v[:, : self.n - 1]
        later = np.arange(
            self.n - 2, -1, -1
        )  # components after it but one: |dF| = prod sin(2 angle) sin^2(angle)^later
        log_flat = np.log(np.abs(np.sin(2.0 * angle)) + 1e-30) + later * np.log(np.sin(angle) ** 2 + 1e-30)
        return np.asarray(log_flat.sum(axis=1) - 0.5 * (v[:, self.n - 1 :] ** 2).sum(axis=1))

    def within(self, v: Array) -> NDArray[np.bool_]:
        """Which courses (M,) have all their angles between 0 and a right angle: each charge is given once there."""
        angle = v[:, : self.n - 1]
        return np.asarray(((angle > 0.0) & (angle < 0.5 * np.pi)).all(axis=1))

    def angles(self, charge: Array) -> Array:
        """The first n - 1 numbers (M, n - 1) of courses that begin with ``charge`` (M, n), components in the order."""
        left = np.cumsum(charge[:, ::-1], axis=1)[:, ::-1][:, :-1]
        return np.arccos(np.sqrt(np.clip(charge[:, :-1] / np.maximum(left, 1e-12), 0.0, 1.0)))

    def vessels(self, v: Array) -> Array:
        """Mass fractions (V, M, n), components in the sheet's order, of all cuts and the residue, if it is a vessel.

        Over a step the rates are the means of those before it and of those after it, had they stayed as they were.
        """
        share = 1.0 / (1.0 + np.exp(-(self.left + self.left_spread * v[:, self.n - 1])))
        total = self.mass.sum() / (1.0 - share)
        pot = self._charge(v).T * total
        column, ln_reflux = self._column(v)
        drift = DRIFT * v[:, self.n + 2]
        found = np.empty((len(self.mass) + self.residue, self.n, len(v)))
        done = np.zeros(len(v))
        rates = column.rates(self._moles(pot), None, _coming_back(ln_reflux - 0.5 * drift), FIRST_ROUNDS)
        for k, mass in enumerate((self.mass / STEPS).tolist()):
            before = pot
            for _ in range(STEPS):
                done = done + mass / total
                coming_back = _coming_back(ln_reflux + (done - 0.5) * drift)
                later = column.rates(self._moles(_kept(pot, rates, mass)), rates, coming_back, ROUNDS)
                pot = _kept(pot, 0.5 * (rates + later), mass)
                rates = later
            found[k, list(self.order)] = before - pot
        if self.residue:
            found[-1, list(self.order)] = pot
        found = np.maximum(found, 1e-12 * total)
        return np.ascontiguousarray((found / found.sum(axis=1, keepdims=True)).transpose(0, 2, 1))

    def _charge(self, v: Array) -> Array:
        angle = v[:, : self.n - 1]
        rest = np.cumprod(np.sin(angle) ** 2, axis=1)
        before = np.concatenate([np.ones((len(v), 1)), rest[:, :-1]], axis=1)
        return np.concatenate([before * np.cos(angle) ** 2, rest[:, -1:]], axis=1) + 1e-9

    def _column(self, v: Array) -> tuple[Column, Array]:
        """Columns of the courses, and ln R (M,) halfway."""
        k = self.n
        stages = np.minimum(1.0 + np.logaddexp(0.0, SHARPER * v[:, k] - SIMPLE), MOST)
        wrong = np.zeros((k, k, len(v)))
        i, j = np.triu_indices(k, 1)
        wrong[i, j] = wrong[j, i] = (v[:, k + 3 :] * self.wrong).T
        return Column(stages, self.volatility, wrong), LN_REFLUX + LN_REFLUX_SPREAD * v[:, k + 1]

    def _moles(self, pot: Array) -> Array:
        """Mole fractions (n, M) of kilograms."""
        moles = pot / self.molar_mass[:, None]
        return np.asarray(moles / moles.sum(axis=0))


def _coming_back(ln_reflux: Array) -> Array:
    """R/(R + 1)."""
    return np.asarray(1.0 / (1.0 + np.exp(-ln_reflux)))


def _kept(pot: Array, rates: Array, mass: float) -> Array:
    """What is left (n, M) of a pot (n, M) kg when ``mass`` has come over.

    The mass over, sum n_i (1 - exp(-a_i t)), is concave in t: Newton's method climbs to it from below.
    """
    time = mass / (rates * pot).sum(axis=0)
    kept = pot.sum(axis=0) - mass
    for _ in range(NEWTON_STEPS):
        part = pot * np.exp(-rates * time)
        time = time + (part.sum(axis=0) - kept) / np.maximum((rates * part).sum(axis=0), 1e-300)
    return np.asarray(pot * np.exp(-rates * time))


def _volatility(mixture: Mixture, pressure: float, order: list[int]) -> tuple[Array, Array]:
    """Coefficients (T, n - 1) of ln alpha against the heaviest in mole fractions, and the error of activity of every pair."""
    n = mixture.n
    rng = np.random.default_rng(20240701)
    x = np.maximum(np.concatenate([np.eye(n), rng.dirichlet(np.full(n, 0.5), POINTS)]), 1e-6)
    x /= x.sum(axis=1, keepdims=True)
    _, y = mixture.bubble_point(x, pressure)
    ln_k = np.log(y / x)[:, order]
    coefficients, *_ = np.linalg.lstsq(terms(x[:, order].T).T, ln_k[:, :-1] - ln_k[:, -1:], rcond=None)
    wrong = np.full((n, n), LEAST_WRONG**2)
    for error in mixture.model_errors:
        if error.kind in ("activity", "activity_asymmetry"):
            wrong[error.components] += error.u**2
            wrong[error.components[::-1]] += error.u**2
    return np.asarray(coefficients), WIDER * np.sqrt([wrong[pair] for pair in combinations(order, 2)])
