"""What is known of the charge: component by component it is what cuts, residue, hold-up and loss hold together.

The charge's own readings feel the errors that those of the cuts feel: a density instrument that reads high shows charge and
cuts alike as too heavy, and their balance tells nothing of it. So what the charge holds is taken given the shared errors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Contents:
    """Kg of the first n - 1 components that the vessels should hold: mean (S, n - 1) given each of S samples of the shared
    errors, and covariance (n - 1, n - 1) about it.
    """

    mean: Array
    covariance: Array

    def log_likelihood(self, held: Array, samples: NDArray[np.intp] | int) -> Array:
        """Of vessels that hold ``held`` (D, n - 1) kg with the samples (D,), or all with one: (D,), up to a constant."""
        return np.asarray(-0.5 * (self.whitened(held - self.mean[samples]) ** 2).sum(axis=1))

    def fit(self, rest: Array, own: Array, samples: NDArray[np.intp]) -> Array:
        """Likelihood (D, G), largest 1 in each row, with ``own`` (G, n - 1) kg added to ``rest`` (D, n - 1).

        The square of the sum of a particle's and a node's gap is expanded: one matrix product, no third axis.
        """
        particle, node = self.whitened(rest - self.mean[samples]), self.whitened(own)
        log_fit = particle @ -node.T
        log_fit -= 0.5 * (node**2).sum(axis=1)
        log_fit -= log_fit.max(axis=1, keepdims=True)
        return np.asarray(np.exp(log_fit, out=log_fit))

    def whitened(self, gap: Array) -> Array:
        """Kilograms (..., n - 1) in standard deviations."""
        return np.asarray(gap @ np.linalg.inv(np.linalg.cholesky(self.covariance)).T)

    def overall(self, weights: Array) -> Contents:
        """Whatever the shared errors, whose samples weigh ``weights`` (S,): one mean (1, n - 1)."""
        mean = weights @ self.mean
        off = self.mean - mean
        return Contents(mean[None], self.covariance + (off * weights[:, None]).T @ off)


@dataclass(frozen=True)
class Charge:
    """mass, u : of the charge on the balance, kg. loss : kg that neither cuts nor residue hold. w : (G, n) its nodes."""

    mass: float
    u: float
    loss: float
    w: Array

    def given(self, share: Array, weights: Array) -> Contents:
        """From probabilities ``share`` (S, G) of the charge's nodes given each sample, which weigh ``weights`` (S,).

        Less the loss, whose composition is unknown: flat on the simplex, with mean 1/n and the covariance of a flat
        Dirichlet distribution.
        """
        n = self.w.shape[1]
        w = self.w[:, :-1]
        mean = share @ w
        average = weights @ mean
        whole = w - average
        off = mean - average
        within = (whole * (weights @ share)[:, None]).T @ whole - (off * weights[:, None]).T @ off
        flat = (np.eye(n - 1) / n - 1.0 / n**2) / (n + 1.0)
        covariance = self.mass**2 * within + self.u**2 * np.outer(average, average) + self.loss**2 * flat
        return Contents(self.mass * mean - self.loss / n, covariance)
