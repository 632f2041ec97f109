"""The course of a distillation as a prior: what the still's equation lets successive cuts hold.

Between two moments the pot loses dn_i = -a_i n_i dt with a_i/a_j = alpha_ij^e (Rayleigh, Phil. Mag. 4 (1902) 521; at total
reflux e is the number of theoretical stages, Fenske, Ind. Eng. Chem. 24 (1932) 482). Over a step in which the a_i stay as
they are the pot keeps n_i exp(-a_i t), and t follows from the mass that came over. So the whole course is given by what
was charged, what share of it stayed in the pot, and the exponent e: some numbers, and the masses of the cuts.

At a finite reflux e changes as the light components go, and differs from pair to pair; errors of the activities change
relative volatilities. Hence e = N exp(eps + s (g + h)), s from -1/2 at the start to 1/2 when the pot is dry, with eps and
h of every pair of neighbours in volatility and sums of 0 over the pairs. The scales below were fitted to simulated
distillations (differential and 2 to 5 stages, reflux ratios 1 to 6, five mixtures of three components, another model of
the liquid; tests/proof/simulate.py): a course fitted to one of them comes as close to its cuts as `stray` allows.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

LN_STAGES, LN_STAGES_SPREAD = 0.6, 0.6  # of ln N: 0.6 to 6 stages 95 times in 100
# Standard deviations of eps, g and h: of a simple still, and what is added by a column of very many stages.
PAIR_SPREAD, PAIR_COLUMN = 0.08, 0.15
DRIFT, DRIFT_SPREAD, DRIFT_COLUMN = -0.5, 0.06, 0.9
PAIR_DRIFT, PAIR_DRIFT_COLUMN = 0.06, 0.7
LEFT, LEFT_SPREAD = -2.0, 0.8  # logit of the share that stays in the pot: 3 to 40 %
WEIGHED = 0.05  # logarithm of a residue's mass, when it was weighed: what wets the still is not in it
STEPS, NEWTON_STEPS = 2, 5  # of a cut; of the time that a step takes
POINTS = 60
STEEPEST = 25.0  # of ln(a_i/a_j): a component that is gone in a moment


@dataclass(frozen=True)
class Course:
    """Courses of one run's distillation, each a vector v of `size` numbers, and what they let the cuts hold.

    order : (n,) components from light to heavy. molar_mass : (n,) in that order. volatility : (T, n - 1) coefficients of
    ln alpha of neighbours in that order, see `_terms`. pair_spread : (n - 1,) standard deviation of eps in a simple still.
    mass : (K,) kg of the cuts. left, left_spread : logit of the residue's share of the charge.
    residue : whether the residue is a vessel too.
    """

    order: tuple[int, ...]
    molar_mass: Array
    volatility: Array
    pair_spread: Array
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
        volatility, pair_spread = _volatility(mixture, pressure, picked)
        return cls(order, mixture.molar_mass[picked], volatility, pair_spread, cuts, left, spread, residue)

    @property
    def n(self) -> int:
        """Number of components."""
        return len(self.order)

    @property
    def size(self) -> int:
        """Numbers that give one course: n - 1 of the charge, left, N, n - 2 eps, g, n - 2 h."""
        return 3 * self.n - 2

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

    def _charge(self, v: Array) -> Array:
        angle = v[:, : self.n - 1]
        rest = np.cumprod(np.sin(angle) ** 2, axis=1)
        before = np.concatenate([np.ones((len(v), 1)), rest[:, :-1]], axis=1)
        return np.concatenate([before * np.cos(angle) ** 2, rest[:, -1:]], axis=1) + 1e-9

    def _exponent(self, v: Array) -> tuple[Array, Array]:
        """Logarithm of e (M, n - 1) halfway, and its change over the whole charge."""
        k, contrast = self.n, contrasts(self.n - 1)
        ln_stages = LN_STAGES + LN_STAGES_SPREAD * v[:, k]
        column = np.maximum(1.0 - np.exp(-ln_stages), 0.0)
        pair = v[:, k + 1 : 2 * k - 1] @ contrast.T * (self.pair_spread + PAIR_COLUMN * column[:, None])
        drift = DRIFT * column + (DRIFT_SPREAD + DRIFT_COLUMN * column) * v[:, 2 * k - 1]
        pair_drift = v[:, 2 * k :] @ contrast.T * (PAIR_DRIFT + PAIR_DRIFT_COLUMN * column)[:, None]
        return ln_stages[:, None] + pair, drift[:, None] + pair_drift

    def vessels(self, v: Array) -> Array:
        """Mass fractions (V, M, n), components in the sheet's order, of all cuts and the residue, if it is a vessel."""
        share = 1.0 / (1.0 + np.exp(-(self.left + self.left_spread * v[:, self.n - 1])))
        total = self.mass.sum() / (1.0 - share)
        pot = self._charge(v).T * total
        ln_exponent, drift = (part.T for part in self._exponent(v))
        found = np.empty((len(self.mass) + self.residue, self.n, len(v)))
        done = 0.0
        for k, mass in enumerate(self.mass.tolist()):
            before = pot
            for _ in range(STEPS):
                progress = (done + 0.5 * mass / STEPS) / total - 0.5
                pot = self._boiled(pot, np.exp(np.clip(ln_exponent + progress * drift, -4.0, 4.0)), mass / STEPS)
                done += mass / STEPS
            found[k, list(self.order)] = before - pot
        if self.residue:
            found[-1, list(self.order)] = pot
        found = np.maximum(found, 1e-12 * total)
        return np.ascontiguousarray((found / found.sum(axis=1, keepdims=True)).transpose(0, 2, 1))

    def _boiled(self, pot: Array, exponent: Array, mass: float) -> Array:
        """What is left (n, M) of a pot when ``mass`` has come over; exponent : (n - 1, M).

        The mass over, sum n_i (1 - exp(-a_i t)), is concave in t: Newton's method climbs to it from below.
        """
        x = pot / self.molar_mass[:, None]
        x /= x.sum(axis=0)
        ln_a = np.zeros_like(pot)
        ln_a[:-1] = exponent * (self.volatility.T @ _terms(x))
        ln_a = np.cumsum(ln_a[::-1], axis=0)[::-1]
        a = np.exp(np.maximum(ln_a - ln_a.max(axis=0), -STEEPEST))
        flow = a * pot
        time = mass / flow.sum(axis=0)
        kept = pot.sum(axis=0) - mass
        for _ in range(NEWTON_STEPS):
            part = np.exp(-a * time)
            time += ((pot * part).sum(axis=0) - kept) / np.maximum((flow * part).sum(axis=0), 1e-300)
        return np.asarray(pot * np.exp(-a * time))


def contrasts(count: int) -> Array:
    """(count, count - 1) orthogonal columns that sum to 0, each row of length sqrt(1/2): of two, +-0.71."""
    if count < 2:
        return np.zeros((count, 0))
    whole = np.linalg.svd(np.eye(count) - 1.0 / count)[0][:, : count - 1]
    return np.asarray(whole * np.sqrt(0.5 * count / (count - 1)), dtype=np.float64)


def _terms(x: Array) -> Array:
    """1, x_i and x_i x_j of the first n - 1 components: (n, M) -> (T, M)."""
    free = x[:-1]
    i, j = np.triu_indices(len(free))
    return np.concatenate([np.ones_like(x[:1]), free, free[i] * free[j]])


def _volatility(mixture: Mixture, pressure: float, order: list[int]) -> tuple[Array, Array]:
    """Of neighbours ln alpha as a polynomial (T, n - 1) in mole fractions, and the relative error (n - 1,) of each.

    The error of ln alpha of a pair is its activity's: u of the amplitude A in g^E/RT = A x_1 x_2, half of it amid.
    """
    n = mixture.n
    rng = np.random.default_rng(20240701)
    x = np.maximum(np.concatenate([np.eye(n), rng.dirichlet(np.full(n, 0.5), POINTS)]), 1e-6)
    x /= x.sum(axis=1, keepdims=True)
    _, y = mixture.bubble_point(x, pressure)
    ln_k = np.log(y / x)[:, order]
    coefficients, *_ = np.linalg.lstsq(_terms(x[:, order].T).T, ln_k[:, :-1] - ln_k[:, 1:], rcond=None)
    u = {frozenset(error.components): error.u for error in mixture.model_errors if error.kind == "activity"}
    size = np.abs(_terms(np.full((n, 1), 1.0 / n))[:, 0] @ coefficients)
    wrong = np.array([0.5 * u.get(frozenset(pair), 0.0) for pair in pairwise(order)])
    return np.asarray(coefficients), np.hypot(PAIR_SPREAD, np.minimum(wrong / size, 0.5))
