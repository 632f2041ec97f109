"""Joint draws of a run's compositions and shared errors, and what a further reading would show in each of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence, RunPosterior
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]

ROOM = 293.15  # K
MOST_DRAWS = 1536
LONGEST = 60  # cuts whose readings are used to tell the shared errors of a draw
PRESSURE = "pressure"
PLACE_SD = 0.09  # of a cut's own dew point between its two head temperatures, as a share of the way between


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
        """Draws of a fitted run. The posterior gives the compositions; the shared errors that go with each follow from
        the readings, which are linear in them and normal about them.
        """
        count = min(len(posterior.draws), MOST_DRAWS)
        pick = (np.arange(count) * len(posterior.draws)) // count
        draws = posterior.draws[pick]
        bare = cls(mixture, evidence, draws, posterior.errors, np.zeros((count, len(posterior.errors))))
        return cls(mixture, evidence, draws, posterior.errors, _shared(bare))

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

    def liquid(self, which: str, cuts: NDArray[np.intp], temperature: Array | float) -> tuple[Array, Array]:
        """Density or refractive index ("density", "index") of some cuts (D, K') and its jacobian (D, K', m)."""
        w = self.w[:, cuts]
        if which == "density":
            return self.mixture.density(w, temperature), self.mixture.density_errors(w, temperature)
        return self.mixture.refractive_index(w, temperature), self.mixture.refractive_index_errors(w, temperature)


def _shared(bare: World) -> Array:
    """Shared errors (D, p) given each draw's compositions: theta ~ N(0, I) updated by y = f(w) + J(w) theta + e."""
    count, size = bare.theta.shape
    precision = np.broadcast_to(np.eye(size), (count, size, size)).copy()
    pull = np.zeros((count, size))
    for gap, jacobian, felt, variance in _gaps(bare):
        columns = np.zeros((*gap.shape, size))
        for place, name in enumerate(bare.errors):
            column = bare._column(name, jacobian, felt)
            if column is not None:
                columns[..., place] = column
        scaled = columns / variance[..., None]
        precision += np.swapaxes(scaled, 1, 2) @ columns
        pull += np.einsum("dkp,dk->dp", scaled, gap)
    mean = np.linalg.solve(precision, pull[..., None])[..., 0]
    noise = np.random.default_rng(20240702).standard_normal((count, size, 1))
    # precision = L L^T, so L^-T times white noise has its inverse for covariance
    lower = np.linalg.cholesky(precision)
    return np.asarray(mean + np.linalg.solve(np.swapaxes(lower, 1, 2), noise)[..., 0])


_Gap = tuple[Array, Array, Mapping[str, Array | float], Array]


def _gaps(bare: World) -> list[_Gap]:
    """Readings less predictions (D, K'), jacobians, instruments' errors and variances, kind by kind."""
    evidence = bare.evidence
    found: list[_Gap] = []

    def chosen(*kinds: Measured) -> NDArray[np.intp]:
        read = np.any([np.isfinite(kind.value[: evidence.cuts]) for kind in kinds], axis=0)
        where = np.flatnonzero(read)
        return where[:: max(1, -(-len(where) // LONGEST))]

    temperatures = {"density": evidence.density_temperature, "index": evidence.index_temperature}
    for which, kind in (("density", evidence.density), ("index", evidence.index)):
        cuts = chosen(kind)
        if cuts.size:
            value, jacobian = bare.liquid(which, cuts, temperatures[which][cuts])
            found.append((kind.value[cuts] - value, jacobian, _felt(kind, cuts), kind.repeat[cuts] ** 2))
    cuts = chosen(evidence.head_start, evidence.head_end)
    if cuts.size:
        start, end = (_either(a, b)[cuts] for a, b in _both(evidence.head_start.value, evidence.head_end.value))
        repeat = _either(evidence.head_start.repeat, evidence.head_end.repeat)[cuts]
        middle, way = 0.5 * (start + end), np.abs(end - start)
        kind = evidence.head_start if np.isfinite(evidence.head_start.value[cuts]).all() else evidence.head_end
        found.append(_boiled(bare, "dew", cuts, middle, kind, repeat**2 + (PLACE_SD * way) ** 2))
    cuts = chosen(evidence.range_start)
    if cuts.size:
        kind = evidence.range_start
        found.append(_boiled(bare, "bubble", cuts, kind.value[cuts], kind, kind.repeat[cuts] ** 2))
    return found


def _boiled(bare: World, which: str, cuts: NDArray[np.intp], read: Array, kind: Measured, variance: Array) -> _Gap:
    T, moved, pressed = bare.boiling(which, cuts)
    felt = dict(_felt(kind, cuts))
    felt[PRESSURE] = pressed + felt.get(PRESSURE, 0.0)
    return read - T, moved, felt, variance


def _felt(kind: Measured, cuts: NDArray[np.intp]) -> dict[str, Array | float]:
    return {name: np.nan_to_num(change[cuts]) for name, change in kind.shared.items()}


def _either(first: Array, second: Array) -> Array:
    return np.where(np.isnan(first), second, first)


def _both(first: Array, second: Array) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    return (first, second), (second, first)
