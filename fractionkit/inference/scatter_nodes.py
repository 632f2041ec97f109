"""Nodes for four and more components: weighted random points in place of cells.

A product grid over three or more coordinates would need hundreds of thousands of cells. Points are drawn twice from a
fixed seed: from the prior, to find where a cut's posterior lies; then from a mixture of normal kernels about the
points that carried it, in the additive log ratios ln(w_i/w_n) (Aitchison, J. R. Stat. Soc. B 44 (1982) 139), each
weighted by prior over proposal density: importance sampling with a kernel proposal (West, J. R. Stat. Soc. B 55 (1993)
409).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.nodes import HUG, Nodes
from fractionkit.inference.predict import cells_from_fractions

Array = NDArray[np.float64]

FLAT_POINTS, POINTS, KERNELS = 16384, 4096, 200
WIDEN = 1.5  # kernels wider than the rule, for the tails


def flat_points(n: int) -> Nodes:
    """Points of the prior on the simplex of n components, all alike, one set for all cuts."""
    rng = np.random.default_rng(20240317)
    w = rng.dirichlet(np.full(n, HUG), FLAT_POINTS)[None]
    return _nodes(w, np.full((1, FLAT_POINTS), -math.log(FLAT_POINTS)))


def gathered_points(flat: Nodes, log_posterior: Array) -> Nodes:
    """Points where the posterior lies, for each of K cuts. log_posterior : (K, FLAT_POINTS), unnormalised."""
    rng = np.random.default_rng(20240319)
    drawn = [_one_cut(flat.w[0], row, rng) for row in log_posterior]  # a cut is 10^6 numbers: no loop over points
    return _nodes(np.stack([w for w, _ in drawn]), np.stack([volume for _, volume in drawn]))


def _one_cut(flat: Array, log_posterior: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    weight = np.exp(log_posterior - log_posterior.max())
    weight /= weight.sum()
    picked = rng.choice(len(flat), KERNELS, p=weight)
    ratios = np.log(flat[:, :-1] / flat[:, -1:])
    centre = ratios[picked]
    n = flat.shape[1]
    mean = weight @ ratios
    spread = (ratios - mean).T @ ((ratios - mean) * weight[:, None]) + 1e-6 * np.eye(n - 1)
    width = WIDEN * KERNELS ** (-1.0 / (n + 3.0))
    root = width * np.linalg.cholesky(spread)
    z = centre[rng.integers(0, KERNELS, POINTS)] + rng.standard_normal((POINTS, n - 1)) @ root.T
    w = np.exp(np.concatenate([z, np.zeros((POINTS, 1))], axis=1) - z.max(axis=1, initial=0.0, keepdims=True))
    w /= w.sum(axis=1, keepdims=True)
    white = np.linalg.inv(root)
    offset = (z @ white.T)[:, None, :] - (centre @ white.T)[None, :, :]
    exponent = -0.5 * (offset**2).sum(axis=-1)
    top = exponent.max(axis=1, keepdims=True)
    log_kernel = top[:, 0] + np.log(np.exp(exponent - top).mean(axis=1))
    log_kernel -= 0.5 * (n - 1) * math.log(2.0 * math.pi) + np.log(np.diag(root)).sum()
    logs = np.log(np.maximum(w, 1e-300)).sum(axis=1)
    log_proposal = log_kernel - logs  # |d(log ratios)/dw| = 1/(w_1 ... w_n)
    log_prior = math.lgamma(n * HUG) - n * math.lgamma(HUG) + (HUG - 1.0) * logs
    return w, log_prior - log_proposal - math.log(POINTS)


def _nodes(w: Array, log_volume: Array) -> Nodes:
    coordinates = w[..., :-1]
    zero = np.zeros(log_volume.shape)
    return Nodes(w, log_volume, coordinates, np.zeros_like(coordinates), zero, _anywhere(w), (w.shape[1],))


def _anywhere(w: Array) -> Array:
    """Least and greatest mass fraction (K, n, 2) of points that may lie anywhere."""
    return np.stack([np.zeros(w.shape[::2]), np.ones(w.shape[::2])], axis=-1)


class Drawn(Nodes):
    """Points that were drawn one by one: no cells, no share of the whole, and no likelihood is widened on them."""

    def across_cell(self, values: Array) -> Array:
        """See `Nodes`: nothing."""
        return np.zeros(values.shape)


def drawn_points(w: Array) -> Drawn:
    """Points at mass fractions w (K, G, n), each for itself."""
    at = cells_from_fractions(w) if w.shape[2] < 4 else w[..., :-1]
    zero = np.zeros(w.shape[:2])
    return Drawn(w, zero, at, np.zeros_like(at), zero, _anywhere(w), (w.shape[1],))
