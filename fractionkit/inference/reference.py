"""A prior for composition that is even in what the readings show, not in mass fractions.

Were composition uniform, a head temperature on a flat stretch of the dew curve would be met by more compositions than
one on a steep stretch. So the density of composition given the shared errors is taken in proportion to

    sqrt(det(F(w) + 12 I)),   F = sum_c (d eta_c/dw)(d eta_c/dw)^T / s_c^2,

Jeffreys' prior of that cut's own readings (Proc. R. Soc. A 186 (1946) 453) with the information of the uniform
distribution on 0..1, whose variance is 1/12, added; it multiplies the nodes' own prior, and where the readings say
nothing leaves it as it is. It is taken at the mode of the shared errors. How it changes with them would be a vote on them
in every cut; `joint` lets all volumes of a run vote once together, so that the change hardly matters and is left out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.joint import Block
from fractionkit.inference.nodes import Nodes

Array = NDArray[np.float64]

FLAT = 12.0


def refer(block: Block, mode: Array) -> Block:
    """The block with this prior in its nodes' volumes; ``mode`` (p,) of the shared errors."""
    scales = [(channel, channel.scatter.scale()) for channel in block.channels]
    felt = [(channel, scale) for channel, scale in scales if np.isfinite(scale).any()]
    if not felt or block.nodes.scattered:  # scattered points have no neighbours to take a slope from
        return block
    nodes = block.nodes
    slopes = np.stack(
        [_gradient(channel.at(mode), nodes) / scale.reshape(len(scale), -1, 1) for channel, scale in felt], axis=2
    )
    flat = _flat(nodes)
    information = np.einsum("kgcd,kgce->kgde", slopes, slopes) + flat
    log_prior = 0.5 * np.linalg.slogdet(information)[1] - 0.5 * np.linalg.slogdet(flat)[1]
    return replace(block, nodes=replace(nodes, log_volume=nodes.log_volume + log_prior))


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
