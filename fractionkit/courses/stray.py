"""How far a cut strays from the course of the distillation, laid on the nodes of its composition.

In the coordinates that the cells are made of, w_1, w_2/(1 - w_1), ..., each cut is a logistic distribution of its
logit about the course's. A node's factor is the share of that distribution that its cell holds over the share of the
prior that the cell stands for: then the nodes' own prior is divided out, and no edge or row of cells counts twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.nodes import HUG, Nodes, beta_share, fractions_from_cells

Array = NDArray[np.float64]

STRAY, EDGE = 0.03, 0.003
"""Standard deviation of a mass fraction off the course is STRAY sqrt(w (1 - w) + EDGE)."""
SLIP = 0.01  # of the cuts nothing is known from the course: a wet first cut, a bumped pot, one spilt
LOGISTIC = math.sqrt(3.0) / math.pi  # scale of a logistic distribution of standard deviation 1
FARTHEST = 30.0
HARDLY = 1e-6  # of the likeliest merged cell: lesser ones are not looked at
FEW = 1e-30
LARGE = 700.0


@dataclass(frozen=True)
class About:
    """Logits of M courses in the cells' coordinates, (M, n - 1), and the scales of the logistic distributions."""

    centre: Array
    scale: Array

    @classmethod
    def of(cls, w: Array) -> About:
        """From mass fractions (M, n)."""
        rest = np.cumsum(w[:, :0:-1], axis=1)[:, ::-1]
        own = np.maximum(w[:, :-1], FEW)
        rest = np.maximum(rest, FEW)
        spread = STRAY * np.sqrt(1.0 / (own + EDGE) + 1.0 / (rest + EDGE))
        return cls(np.log(own / rest), LOGISTIC * spread)


@dataclass(frozen=True)
class Cells:
    """G cells of one cut, two or three components.

    edges : for each of the d coordinates the logits (E,) of all edges of cells; low, high : which of them each cell lies
    between, (G,). volume : (G,) what the cells weighed before any reading, prior : what a Dirichlet distribution would have
    them weigh (see `nodes`): they differ where the readings had a say in it (see `reference`).
    """

    edges: tuple[Array, ...]
    low: tuple[NDArray[np.intp], ...]
    high: tuple[NDArray[np.intp], ...]
    volume: Array
    prior: Array

    @classmethod
    def of(cls, nodes: Nodes, row: int, kept: NDArray[np.intp]) -> Cells:
        """The cells number ``kept`` (G,) of one cut."""
        low, high = _ends(nodes, row)
        return cls._between(low[kept], high[kept], np.exp(nodes.log_volume[row, kept]), prior_share(low, high)[kept])

    @classmethod
    def merged(cls, nodes: Nodes, row: int, weight: Array) -> tuple[Cells, NDArray[np.intp]]:
        """Half as many along each coordinate, and which of them count by the weights (G,) of all nodes: those returned."""
        low, high = _ends(nodes, row)
        grids = (np.exp(nodes.log_volume[row]), prior_share(low, high), weight)
        square = [part for size in nodes.cells for part in (size // 2, 2)]
        inner = tuple(range(1, 2 * len(nodes.cells), 2))
        volume, prior, weight = (part.reshape(square).sum(axis=inner).ravel() for part in grids)
        low, high = low.reshape(*square, -1), high.reshape(*square, -1)
        if len(nodes.cells) == 1:
            low, high = low[:, 0], high[:, 1]
        else:  # windows of neighbouring rows lean: their mean
            low = np.stack([low[:, 0, :, 0, 0], low[:, :, :, 0, 1].mean(axis=1)], axis=-1).reshape(-1, 2)
            high = np.stack([high[:, 1, :, 1, 0], high[:, :, :, 1, 1].mean(axis=1)], axis=-1).reshape(-1, 2)
        kept = np.flatnonzero(weight > HARDLY * weight.max())
        return cls._between(low[kept], high[kept], volume[kept], prior[kept]), kept

    @classmethod
    def _between(cls, low: Array, high: Array, volume: Array, prior: Array) -> Cells:
        edges, first, last = [], [], []
        for i in range(low.shape[1]):  # neighbours share an edge: each is looked at once
            ends, place = np.unique(np.round(np.concatenate([low[:, i], high[:, i]]), 12), return_inverse=True)
            edges.append(_logit(ends))
            first.append(place[: len(low)])
            last.append(place[len(low) :])
        return cls(tuple(edges), tuple(first), tuple(last), volume, prior)

    def held(self, about: About) -> Array:
        """Share of each course's distribution in each cell, (G, M)."""
        found = None
        for i, edges in enumerate(self.edges):
            away = _cumulated(edges[:, None], about.centre[:, i], about.scale[:, i])
            part = away[self.high[i]]
            part -= away[self.low[i]]
            found = part if found is None else np.multiply(found, part, out=found)
        assert found is not None
        return found

    def free(self) -> Array:
        """What a cut that does not follow any course makes of each cell's weight, (G,)."""
        return self.prior / self.volume

    def factor(self, about: About) -> Array:
        """What each course makes of each cell's weight, (G, M)."""
        found = self.held(about)
        found *= ((1.0 - SLIP) / self.volume)[:, None]
        found += SLIP * self.free()[:, None]
        return found


def inside(
    nodes: Nodes, row: int, node: NDArray[np.intp], about: About, course: NDArray[np.intp], rng: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """Compositions (D, n) inside the cells ``node`` (D,) of one cut, as each strays about its ``course`` (D,).

    Which of them (D,) follow none is told beside. Within a cell the readings are taken to say the same of every composition,
    along the lean of its window.
    """
    low, high = (end[node] for end in _ends(nodes, row))
    centre, scale = about.centre[course], about.scale[course]
    below, above = (_cumulated(_logit(end), centre, scale) for end in (low, high))
    held = (1.0 - SLIP) * (above - below).prod(axis=1)
    slipped = rng.random(len(node)) * (held + SLIP * prior_share(low, high)) > held
    at = below + (above - below) * rng.random(low.shape)
    with np.errstate(divide="ignore"):
        logit = np.clip(centre + scale * (np.log(at) - np.log1p(-at)), -LARGE, LARGE)
    even = low + (high - low) * rng.random(low.shape)
    found = np.where(slipped[:, None], even, np.clip(1.0 / (1.0 + np.exp(-logit)), low, high))
    if found.shape[1] == 2:
        free = (low[:, 1] > 0.0) & (high[:, 1] < 1.0)
        lean = nodes.shear[row, node] * (found[:, 0] - nodes.coordinates[row, node, 0])
        found[:, 1] = np.clip(found[:, 1] + np.where(free, lean, 0.0), 0.0, 1.0)
    return fractions_from_cells(found), slipped


def _cumulated(logit: Array, centre: Array, scale: Array) -> Array:
    """Logistic distribution function."""
    away = (centre - np.clip(logit, -FARTHEST, FARTHEST)) / scale
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(away, -FARTHEST, FARTHEST))))


def prior_share(low: Array, high: Array) -> Array:
    """Share (G,) of the nodes' Dirichlet distribution in cells with edges (G, d): each fraction is a beta part of the rest."""
    count = low.shape[1]
    parts = [beta_share(low[:, i], high[:, i], HUG, HUG * (count - i)) for i in range(count)]
    return np.asarray(np.prod(parts, axis=0))


def _ends(nodes: Nodes, row: int) -> tuple[Array, Array]:
    """Lower and upper edges (G, d) of the cells of one cut."""
    return (nodes.coordinates - nodes.half)[row], (nodes.coordinates + nodes.half)[row]


def _logit(part: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.maximum(part, 0.0)) - np.log(np.maximum(1.0 - part, 0.0)))
