"""Models of the liquid for simulated runs: UNIFAC for any leading shape, and the estimator's own table for the control."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fractionkit.mixture import Mixture
from fractionkit.substances.activity_sources import Model, _tables

Array = NDArray[np.float64]


class Liquid(Protocol):
    """A model of the liquid."""

    def ln_gamma(self, x: Array, T: Array) -> Array:
        """(..., n) at mole fractions x (..., n) and T (...)."""
        ...


class Table:
    """The estimator's own pair table: for the control only, where the truth is drawn from the estimator's prior."""

    def __init__(self, mixture: Mixture) -> None:
        self._mixture = mixture

    def ln_gamma(self, x: Array, T: Array) -> Array:
        """See `Liquid`."""
        return self._mixture.ln_gamma(x / x.sum(axis=-1, keepdims=True), T)


class Unifac:
    """UNIFAC for any leading shape; groups and parameters from the tables of thermo.

    Fredenslund, Jones & Prausnitz, AIChE J. 21 (1975) 1086; Weidlich & Gmehling, Ind. Eng. Chem. Res. 26 (1987) 1372.
    """

    def __init__(self, names: Sequence[str], model: Model) -> None:
        subgroups, interactions, _, groups = _tables(model)
        ids = sorted({g for name in names for g in groups[name]})
        self.power = 1.0 if model == "UNIFAC" else 0.75
        self.count = np.array([[groups[name].get(g, 0) for g in ids] for name in names], dtype=float)
        self.Q = np.array([subgroups[g].Q for g in ids])
        self.r = self.count @ np.array([subgroups[g].R for g in ids])
        self.q = self.count @ self.Q
        main = [subgroups[g].main_group_id for g in ids]
        terms = [[_coefficients(interactions, a, b) for b in main] for a in main]
        self.a = np.moveaxis(np.array(terms), -1, 0)  # (3, G, G)

    def ln_gamma(self, x: Array, T: Array) -> Array:
        """(..., n) at mole fractions x (..., n) and T (...)."""
        bulk = self.r**self.power
        V = bulk / (x @ bulk)[..., None]
        ratio = (self.r * (x @ self.q)[..., None]) / (self.q * (x @ self.r)[..., None])
        combinatorial = 1.0 - V + np.log(V) - 5.0 * self.q * (1.0 - ratio + np.log(ratio))
        t = T[..., None, None]
        psi = np.exp(-(self.a[0] / t + self.a[1] + self.a[2] * t))
        mixed = self._groups(x @ self.count, psi)
        pure = self._groups(self.count, psi[..., None, :, :])
        return np.asarray(combinatorial + ((mixed[..., None, :] - pure) * self.count).sum(axis=-1))

    def _groups(self, amount: Array, psi: Array) -> Array:
        area = amount * self.Q
        theta = area / area.sum(axis=-1, keepdims=True)
        total = (theta[..., None, :] @ psi)[..., 0, :]  # sum_m theta_m psi_mk
        back = (psi @ (theta / total)[..., None])[..., 0]  # sum_m psi_km theta_m / total_m
        return np.asarray(self.Q * (1.0 - np.log(total) - back))


def _coefficients(interactions: dict, first: int, second: int) -> tuple[float, float, float]:
    if first == second:
        return (0.0, 0.0, 0.0)
    found = interactions[first][second]
    return (found, 0.0, 0.0) if isinstance(found, float | int) else tuple(found)
