"""What the readings of a cut would be at a composition, and how the shared errors move them.

Boiling and dew points at the run's pressure are solved once on a table over the simplex (two and three components) and
interpolated: linearly on 2,049 points of one coordinate, bilinearly on 97 x 97 of two. With a second derivative of
100 K over the whole span that is an error of 3e-6 K and 1.4e-3 K.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.nodes import fractions_from_cells
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

TABLE_POINTS = {2: 2049, 3: 97}


@dataclass(frozen=True)
class BoilingTable:
    """Temperature of a phase change over compositions at one pressure.

    values : (points, ..., 1 + q) K: temperature, then its change for one standard deviation of each of the ``errors``
        (q,), indices into `Mixture.model_errors`, and last for one unit of ln pressure.
    """

    values: Array
    errors: NDArray[np.intp]

    def at(self, coordinates: Array) -> tuple[Array, Array, Array]:
        """(..., n - 1) cell coordinates -> temperature (...), change by error (..., q), change by ln pressure (...)."""
        size = self.values.shape[0]
        position = coordinates * (size - 1)
        cell = np.clip(position.astype(np.intp), 0, size - 2)
        share = position - cell
        if coordinates.shape[-1] == 1:
            i, s = cell[..., 0], share
            found = (1.0 - s) * self.values[i] + s * self.values[i + 1]
        else:
            i, j = cell[..., 0], cell[..., 1]
            s, t = share[..., :1], share[..., 1:]
            found = (1.0 - s) * ((1.0 - t) * self.values[i, j] + t * self.values[i, j + 1])
            found = found + s * ((1.0 - t) * self.values[i + 1, j] + t * self.values[i + 1, j + 1])
        return found[..., 0], found[..., 1:-1], found[..., -1]


def boiling_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a boiling temperature."""
    return _indices(mixture, ("vapour_pressure", "activity", "activity_asymmetry"))


def density_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a density."""
    return _indices(mixture, ("density", "excess_volume"))


def index_errors(mixture: Mixture) -> NDArray[np.intp]:
    """Which of the mixture's model errors move a refractive index; its volume fractions come from the densities."""
    return _indices(mixture, ("density", "refractive_index"))


def _indices(mixture: Mixture, kinds: tuple[str, ...]) -> NDArray[np.intp]:
    return np.array([i for i, error in enumerate(mixture.model_errors) if error.kind in kinds], dtype=np.intp)


def _table_fractions(n: int) -> Array:
    axis = np.linspace(0.0, 1.0, TABLE_POINTS[n])
    coordinates = axis[:, None] if n == 2 else np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1)
    return fractions_from_cells(coordinates)


def dew_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Dew point of vapour having the mass fractions of a cut: the head temperature while such a vapour is taken."""
    errors = boiling_errors(mixture)
    vapour = mixture.mole_fractions(_table_fractions(mixture.n))
    temperature, liquid = mixture.dew_point(vapour, pressure)
    moved = mixture.dew_point_errors(temperature, liquid)[..., errors]
    slope = mixture.dew_slope(temperature, liquid)
    return BoilingTable(np.concatenate([temperature[..., None], moved, slope[..., None]], axis=-1), errors)


def bubble_table(mixture: Mixture, pressure: float) -> BoilingTable:
    """Bubble point of liquid of the cut's composition: the first drop of a boiling-range test."""
    errors = boiling_errors(mixture)
    liquid = mixture.mole_fractions(_table_fractions(mixture.n))
    temperature, vapour = mixture.bubble_point(liquid, pressure)
    moved = mixture.bubble_point_errors(liquid, temperature, vapour)[..., errors]
    slope = mixture.bubble_slope(liquid, temperature, vapour)
    return BoilingTable(np.concatenate([temperature[..., None], moved, slope[..., None]], axis=-1), errors)
