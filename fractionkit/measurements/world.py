"""Joint draws of a run's compositions and shared errors, and what a further reading would show in each of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence, RunPosterior
from fractionkit.inference.dry_point import dry_table
from fractionkit.inference.predict import TABLE_POINTS, cells_from_fractions
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

ROOM = 293.15  # K
MOST_DRAWS = 1536
PRESSURE = "pressure"


@dataclass(frozen=True)
class World:
    """D draws. w : (D, K, n) compositions of the cuts; theta : (D, p) of the shared errors ``errors``."""

    mixture: Mixture
    evidence: Evidence
    w: Array
    errors: tuple[str, ...]
    theta: Array

    @classmethod
    def of(cls, mixture: Mixture, evidence: Evidence, posterior: RunPosterior) -> World:
        """Draws of a fitted run, evenly chosen: compositions and shared errors of one draw belong together."""
        count = min(len(posterior.draws), MOST_DRAWS)
        pick = (np.arange(count) * len(posterior.draws)) // count
        return cls(mixture, evidence, posterior.draws[pick], posterior.errors, posterior.theta[pick])

    def known(self, jacobian: Array, felt: Mapping[str, Array | float]) -> Array:
        """Change (D, K') for the draws' shared errors: ``jacobian`` (D, K', m) by the mixture's errors, ``felt`` by name."""
        moved = np.zeros(jacobian.shape[:2])
        for place, name in enumerate(self.errors):
            change = self._column(name, jacobian, felt)
            if change is not None:
                moved = moved + change * self.theta[:, place, None]
        return moved

    def unknown(self, jacobian: Array) -> Array:
        """Covariance (K', K') of the mixture's errors that no reading of the run felt, at the draws' mean."""
        new = [i for i, error in enumerate(self.mixture.model_errors) if error.name not in self.errors]
        mean = jacobian.mean(axis=0)[:, new]
        return np.asarray(mean @ mean.T)

    def _column(self, name: str, jacobian: Array, felt: Mapping[str, Array | float]) -> Array | None:
        found: Array | None = None
        for i, error in enumerate(self.mixture.model_errors):
            if error.name == name:
                found = jacobian[..., i]
        if name in felt:
            own = np.broadcast_to(np.asarray(felt[name], dtype=float), jacobian.shape[:2])
            found = own if found is None else found + own
        return found

    def boiling(self, which: str, cuts: NDArray[np.intp]) -> tuple[Array, Array, Array]:
        """Dew or bubble point ("dew", "bubble") of some cuts: (D, K') K, its jacobian (D, K', m), by pressure (D, K')."""
        mole = self.mixture.mole_fractions(self.w[:, cuts])
        pressure, u = self.evidence.pressure, self.evidence.pressure_u
        if which == "dew":
            T, x = self.mixture.dew_point(mole, pressure)
            moved, slope = self.mixture.dew_point_errors(T, x), self.mixture.dew_slope(T, x)
        else:
            T, y = self.mixture.bubble_point(mole, pressure)
            moved, slope = self.mixture.bubble_point_errors(mole, T, y), self.mixture.bubble_slope(mole, T, y)
        return T, moved, slope * u / pressure

    def dry(self, cuts: NDArray[np.intp]) -> tuple[Array, Array, Array, Array, Array]:
        """Dry point of some cuts: as `boiling`, then its change by what is left in the flask (D, K'), and the variance of
        what differs from test to test (D, K').
        """
        table = dry_table(self.mixture, self.evidence.pressure)
        w = self.w[:, cuts]
        found = table.at(cells_from_fractions(w) if self.mixture.n in TABLE_POINTS else w[..., :-1])
        moved = np.zeros((*found.temperature.shape, len(self.mixture.model_errors)))
        moved[..., table.errors] = found.moved
        pressed = found.by_pressure * self.evidence.pressure_u / self.evidence.pressure
        return found.temperature, moved, pressed, found.by_left, found.variance()

    def liquid(self, which: str, cuts: NDArray[np.intp], temperature: Array | float) -> tuple[Array, Array]:
        """Density or refractive index ("density", "index") of some cuts (D, K') and its jacobian (D, K', m)."""
        w = self.w[:, cuts]
        if which == "density":
            return self.mixture.density(w, temperature), self.mixture.density_errors(w, temperature)
        return self.mixture.refractive_index(w, temperature), self.mixture.refractive_index_errors(w, temperature)
