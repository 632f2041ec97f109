"""A prior for composition that does not vote on the shared errors.

Were composition uniform whatever the shared errors, a head temperature on a flat stretch of the dew curve would be met by
more compositions than one on a steep stretch, and every cut would vote for the activity that flattens the curve where it
was read; nine cuts without a density can pull the amplitude by two standard deviations, though head temperatures alone
cannot know it. So the density of composition given the errors is taken in proportion to

    sqrt(det(F(w, theta) + 12 I)),   F = sum_c (d eta_c/dw)(d eta_c/dw)^T / s_c^2,

Jeffreys' prior of that cut's own readings (Proc. R. Soc. A 186 (1946) 453) with the information of the uniform
distribution on 0..1, whose variance is 1/12, added; it multiplies the nodes' own prior, and where the readings say
nothing leaves it as it is. Its dependence on composition is taken at the mode of the shared errors; its dependence on
them at each cut's likeliest composition. Far from the mode that composition is no longer the likeliest, so that one
cut's vote is kept within `MOST_VOTE`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.joint import Block
from fractionkit.composition.nodes import Nodes

Array = NDArray[np.float64]

FLAT = 12.0
MOST_VOTE = 0.7  # of the logarithm


@dataclass(frozen=True)
class Vote:
    """What a block's prior gains with the shared errors, at each cut's likeliest composition.

    base : (C, c, d) slopes of c kinds of reading in the cell's coordinates, in their standard deviations, at no errors;
    errors : (p,) all shared errors; by_error, by_square : (C, c, d, p) their change. flat : (C, d, d) information of the
    uniform distribution. at_mode : (C,) the value at the mode, subtracted.
    """

    base: Array
    by_error: Array
    by_square: Array
    flat: Array
    at_mode: Array

    def log(self, theta: Array) -> Array:
        """(S, p) -> (S,): summed over the block's cuts, zero at the mode."""
        _, information = self._information(theta)
        found = 0.5 * np.linalg.slogdet(information)[1] - self.at_mode[:, None]
        return np.asarray(MOST_VOTE * np.tanh(found / MOST_VOTE).sum(axis=0))

    def gradient(self, theta: Array) -> Array:
        """(p,) -> (p,): derivative of `log`; d(log det F)/2 = trace(F^-1 S^T dS)."""
        slopes, information = self._information(theta[None])
        change = self.by_error + 2.0 * self.by_square * theta
        inverse = np.linalg.inv(information[:, 0])
        within = 0.5 * np.linalg.slogdet(information[:, 0])[1] - self.at_mode
        share = 1.0 - np.tanh(within / MOST_VOTE) ** 2
        return np.asarray(np.einsum("k,kde,kce,kcdp->p", share, inverse, slopes[..., 0], change, optimize=True))

    def _information(self, theta: Array) -> tuple[Array, Array]:
        slopes = self.base[..., None] + self.by_error @ theta.T + self.by_square @ (theta**2).T
        return slopes, np.einsum("kcds,kces->ksde", slopes, slopes) + self.flat[:, None]


def refer(block: Block, mode: Array) -> Block:
    """The block with its prior: the dependence on composition in the nodes' volumes, the rest in ``vote``."""
    scales = [(channel, channel.scatter.scale()) for channel in block.channels]
    felt = [(channel, scale) for channel, scale in scales if np.isfinite(scale).any()]
    if not felt or block.nodes.scattered:  # scattered points have no neighbours to take a slope from
        return block
    nodes = block.nodes
    slopes = np.stack([_gradient(channel.at(mode), nodes) / scale[:, None, None] for channel, scale in felt], axis=2)
    flat = _flat(nodes)
    information = np.einsum("kgcd,kgce->kgde", slopes, slopes) + flat
    log_prior = 0.5 * np.linalg.slogdet(information)[1] - 0.5 * np.linalg.slogdet(flat)[1]
    best = (block.log_density(mode) + log_prior).argmax(axis=1)
    rows = np.arange(len(best))
    size = len(mode)
    base, by_error, by_square = [], [], []
    for channel, scale in felt:
        weight = 1.0 / scale[:, None]
        base.append(weight * _gradient(channel.prediction, nodes)[rows, best])
        by_error.append(weight[..., None] * _columns(channel.jacobian, channel.errors, nodes, rows, best, size))
        by_square.append(weight[..., None] * _columns(channel.bend, channel.bending, nodes, rows, best, size))
    at = np.broadcast_to(flat, (len(rows), *flat.shape[1:]))[rows, best]
    vote = Vote(
        np.stack(base, axis=1), np.stack(by_error, axis=1), np.stack(by_square, axis=1), at, np.zeros(len(rows))
    )
    here = 0.5 * np.linalg.slogdet(information[rows, best])[1]
    return replace(
        block, nodes=replace(nodes, log_volume=nodes.log_volume + log_prior), vote=replace(vote, at_mode=here)
    )


def _gradient(values: Array, nodes: Nodes) -> Array:
    """(C, G) -> (C, G, d): slope of a function in the coordinates of the cells, which may lean."""
    grid = values.reshape(len(values), *nodes.cells)
    at = nodes.coordinates.reshape(len(nodes.coordinates), *nodes.cells, -1)
    if len(nodes.cells) == 1:
        return np.asarray((np.gradient(grid, axis=1) / np.gradient(at[..., 0], axis=1))[..., None])
    along, across = np.gradient(grid, axis=1), np.gradient(grid, axis=2)
    second = across / np.gradient(at[..., 1], axis=2)
    first = (along - second * np.gradient(at[..., 1], axis=1)) / np.gradient(at[..., 0], axis=1)
    return np.stack([first, second], axis=-1).reshape(*values.shape, 2)


def _columns(
    moved: Array, errors: NDArray[np.intp], nodes: Nodes, rows: NDArray[np.intp], best: NDArray[np.intp], size: int
) -> Array:
    """Slopes of (C, G, q) changes at each cut's best node, (C, d, p)."""
    found = np.zeros((len(rows), len(nodes.cells), size))
    for k, error in enumerate(errors.tolist()):  # a handful of shared errors; each slope is one array operation
        found[..., error] = _gradient(moved[..., k], nodes)[rows, best]
    return found


def _flat(nodes: Nodes) -> Array:
    """Information of the uniform distribution in the coordinates of the cells, (K, G, d, d): 12 M^T M, M = dw/dc."""
    if len(nodes.cells) == 1:
        return np.full((*nodes.log_volume.shape, 1, 1), FLAT)
    a, b = nodes.coordinates[..., 0], nodes.coordinates[..., 1]
    found = np.empty((*a.shape, 2, 2))
    found[..., 0, 0] = 1.0 + b**2
    found[..., 0, 1] = found[..., 1, 0] = -b * (1.0 - a)
    found[..., 1, 1] = (1.0 - a) ** 2
    return FLAT * found
