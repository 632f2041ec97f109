"""One liquid where a density was read: nobody fills a density vessel with two layers knowingly.

One sample in fifty may have stood in two all the same (common practice, no source). What then spreads over all contents of, say,
water has, of one liquid, the room that the solubility leaves: 0.1 wt% in chloroform, 0.8 % of what a Dirichlet distribution
with parameters `nodes.HUG` has there. So a composition in two layers is `PARTED` times as likely as one that is one liquid. A wet
cut can still say so by its head temperatures: boiling with water lowers them by 2 K and more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.channels import Unmoved
from fractionkit.inference.nodes import HUG, Nodes, fractions_from_cells
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

PARTED = 1e-4
PLACES = {1: (np.arange(8) + 0.5) / 8.0, 2: (np.arange(3) + 0.5) / 3.0}
ROUNDING = 1e-12


@dataclass(frozen=True)
class OneLiquid(Unmoved):
    """Predictions are the share of each cell's prior that stands in two layers.

    read : (K,) whether a density was read.
    """

    read: NDArray[np.bool_]

    def log_likelihood(self, eta: Array) -> Array:
        """See `Scatter`."""
        read = self.read.reshape(self.read.shape + (1,) * (eta.ndim - 1))
        return np.where(read, np.log1p(eta * (PARTED - 1.0)), 0.0)

    def misfit(self, eta: Array) -> Array:
        """See `Scatter`; two layers are told of their own, not as a reading that does not fit."""
        return np.zeros_like(eta)

    def scale(self) -> Array:
        """See `Scatter`."""
        return np.full(len(self.read), np.inf)


def parted(mixture: Mixture, temperature: float, nodes: Nodes) -> Array:
    """Predictions (K, G) of samples at a temperature in K: of scattered points yes or no, of cells from places inside each.

    What dissolves may be less than a cell is wide, at an edge of the simplex.
    """
    if nodes.scattered:
        return mixture.parts(nodes.w, temperature).astype(float)
    d = nodes.coordinates.shape[-1]
    inside = np.stack(np.meshgrid(*[PLACES[d]] * d, indexing="ij"), axis=-1).reshape(-1, d)
    low, width = (nodes.coordinates - nodes.half)[..., None, :], 2.0 * nodes.half[..., None, :]
    at_end = low + width > 1.0 - ROUNDING
    # the prior hugs the edges as w^(HUG - 1): the places are even shares of it
    place = np.where(
        low < ROUNDING, inside ** (1.0 / HUG), np.where(at_end, 1.0 - (1.0 - inside) ** (1.0 / HUG), inside)
    )
    w = fractions_from_cells(np.clip(low + width * place, 0.0, 1.0))
    return np.asarray(mixture.parts(w, temperature).mean(axis=-1))
