"""The still near its posterior as quadratic polynomials, so that Markov chains can walk where it costs nothing.

What is fitted are the whitened residuals of all readings in coordinates in which they are smooth (one over the stages, hold-up,
and the other parameters as they are). The chains only propose: what they find is run through the still itself and
weighted with the ratio of the two densities (`infer`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.stages.space import Space

Array = NDArray[np.float64]

RIDGE = 1e-3
"""Weight of a quadratic coefficient against the residuals: what the points do not tell stays at nothing."""

BEYOND, FARTHEST = 4.0, 5.5
GENERATIONS = 360
NOISE = 0.02


@dataclass(frozen=True)
class Surrogate:
    """Quadratic fit: coefficients (terms, M + 1) in coordinates standardised by centre and scale (d,).

    The last column is what the log likelihood has beside the sum of squares, kept within ``rest``.
    ``whiten`` (d, d) turns coordinates into distances from the runs that were fitted; beyond ``far`` the fit is not
    believed and the density falls.
    """

    space: Space
    centre: Array
    scale: Array
    coefficients: Array
    whiten: Array
    far: float
    rest: tuple[float, float]

    @classmethod
    def fit(cls, space: Space, v: Array, whitened: Array, log_likelihood: Array, weights: Array) -> Surrogate:
        """Fit to runs at v (S, d): whitened residuals (S, M) and log likelihoods (S,); ``weights`` (S,) of the runs."""
        u = _coordinates(space, v)
        share = weights / weights.sum()
        centre = share @ u
        scale = np.sqrt(share @ (u - centre) ** 2) + 1e-9
        rest = log_likelihood + 0.5 * (whitened**2).sum(axis=1)
        targets = np.concatenate([whitened, rest[:, None]], axis=1)
        features = _features((u - centre) / scale)
        root = np.sqrt(weights / weights.max())[:, None]
        d = v.shape[1]
        penalty = np.full(features.shape[1], RIDGE * len(v))
        penalty[: d + 1] = 1e-9
        rows = features * root
        normal = rows.T @ rows + np.diag(penalty)
        z = (u - centre) / scale
        spread = z.T @ (z * share[:, None]) + 1e-6 * np.eye(d)
        whiten = np.linalg.inv(np.linalg.cholesky(spread))
        far = float(np.quantile(np.linalg.norm(z @ whiten.T, axis=1), 0.9))
        known = np.quantile(rest[weights > 0.1 * weights.max()], [0.0, 1.0])
        solved = np.linalg.solve(normal, rows.T @ (targets * root))
        return cls(space, centre, scale, solved, whiten, far, (float(known[0]) - 1.0, float(known[1]) + 1.0))

    def log_density(self, v: Array) -> Array:
        """Logarithm of prior times likelihood (S,) as the fit has it."""
        z = (_coordinates(self.space, v) - self.centre) / self.scale
        found = _features(z) @ self.coefficients
        beyond = np.maximum(np.linalg.norm(z @ self.whiten.T, axis=1) - self.far, 0.0)
        inside = np.clip(found[:, -1], *self.rest) - 0.5 * (found[:, :-1] ** 2).sum(axis=1) - 0.5 * (v**2).sum(axis=1)
        out = np.maximum(np.abs(v).max(axis=1) - FARTHEST, 0.0)
        return np.asarray(inside - BEYOND * beyond**2 - 100.0 * out**2)

    def walk(self, v: Array, rng: np.random.Generator) -> Array:
        """Draws (S, d) of the fit's posterior, from ``v`` (S, d) on, by differential evolution.

        Every chain steps by the difference of two others; now and then by all of it, which changes modes (ter Braak,
        Stat. Comput. 16 (2006) 239; from memory).
        """
        v = v.copy()
        S, d = v.shape
        here = self.log_density(v)
        noise = NOISE * np.maximum(v.std(axis=0), 1e-3)
        for generation in range(GENERATIONS):
            order = rng.permutation(S)
            halves = (order[: S // 2], order[S // 2 :])
            for moving, others in (halves, halves[::-1]):
                first, second = rng.choice(others, len(moving)), rng.choice(others, len(moving))
                keep = rng.random((len(moving), d)) < rng.choice([0.35, 1.0], (len(moving), 1))
                size = 0.98 if generation % 10 == 9 else 2.38 / np.sqrt(2.0 * np.maximum(keep.sum(axis=1), 1))[:, None]
                step = size * (v[first] - v[second]) + noise * rng.standard_normal((len(moving), d))
                tried = np.where(keep, v[moving] + step, v[moving])
                value = self.log_density(tried)
                accepted = np.log(rng.random(len(moving))) < value - here[moving]
                v[moving] = np.where(accepted[:, None], tried, v[moving])
                here[moving] = np.where(accepted, value, here[moving])
        return v


def _coordinates(space: Space, v: Array) -> Array:
    u = v.copy()
    u[:, 0] = 1.0 / space.stages.at(v[:, 0])
    u[:, 1] = space.holdup_of(v[:, 1])
    return u


def _features(u: Array) -> Array:
    """1, u and all products of two (S, terms)."""
    d = u.shape[1]
    i, j = np.triu_indices(d)
    return np.concatenate([np.ones((len(u), 1)), u, u[:, i] * u[:, j]], axis=1)
