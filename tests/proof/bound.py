"""The least standard deviation that an estimate from the same readings can have.

Cramer and Rao's bound with prior information (van Trees): every reading is eta_r(w_k) + J_r theta plus
fresh scatter, theta standard normal. The information of (w, theta) at the true compositions is
sum_r g_r g_r' / v_r + diag(prior of w, 1), g_r the slope of the prediction, and the bound on w the corresponding block of its
inverse. Predictions and slopes come from `Mixture` alone, by central differences in composition.
A head range stands for one reading at its middle with the variance of the place between its ends besides the
thermometer's: the second moments of what is known of it. The order of distillation is left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence
from fractionkit.inference.nodes import HUG
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

STEP = 1e-4
PLACE_VARIANCE = 0.6 * 0.25 / 41.0 + 0.4 * 0.25 / 7.0  # of 0.6 Beta(20, 20) + 0.4 Beta(3, 3), what the estimator knows


def least_sd(mixture: Mixture, evidence: Evidence, w: Array, place_variance: float = PLACE_VARIANCE) -> Array:
    """(K, n) bound on the standard deviation of every mass fraction, with the truth at w (K, n)."""
    size, n = w.shape
    d = n - 1
    errors = len(mixture.model_errors)
    names = ["pressure", *sorted({k for kind in evidence.measured() for k in kind.shared})]
    total = size * d + errors + len(names)
    information = np.zeros((total, total))
    theta = np.arange(size * d, total)
    information[theta, theta] = 1.0
    for slope, model, shared, variance, taken in (
        _head(mixture, evidence, w, place_variance),
        _density(mixture, evidence, w),
    ):
        for k in np.flatnonzero(taken):
            row = np.zeros(total)
            row[k * d : (k + 1) * d] = slope[k]
            row[size * d : size * d + errors] = model[k]
            for name, value in shared.items():
                row[size * d + errors + names.index(name)] += value[k]
            information += np.outer(row, row) / variance[k]
    # prior information on the compositions: the covariance of the nodes' Dirichlet distribution
    prior = np.linalg.inv((n * np.eye(n) - 1.0)[:d, :d] / (n**2 * (n * HUG + 1.0)))
    for k in range(size):
        information[k * d : (k + 1) * d, k * d : (k + 1) * d] += prior
    covariance = np.linalg.inv(information)[: size * d, : size * d]
    spread = np.zeros((size, n))
    to_all = np.vstack([np.eye(d), -np.ones((1, d))])
    for k in range(size):
        part = covariance[k * d : (k + 1) * d, k * d : (k + 1) * d]
        spread[k] = np.sqrt(np.einsum("ij,jk,ik->i", to_all, part, to_all))
    return spread


def _moved(w: Array) -> list[tuple[Array, Array]]:
    """For each free mass fraction, compositions a step to either side, the last component giving way."""
    pairs = []
    for i in range(w.shape[1] - 1):
        change = np.zeros(w.shape[1])
        change[i], change[-1] = STEP, -STEP
        pairs.append((np.abs(w - change), np.abs(w + change)))
    return [(a / a.sum(axis=1, keepdims=True), b / b.sum(axis=1, keepdims=True)) for a, b in pairs]


def _head(
    mixture: Mixture, evidence: Evidence, w: Array, place_variance: float
) -> tuple[Array, Array, dict[str, Array], Array, NDArray[np.bool_]]:
    P = evidence.pressure

    def dew(fractions: Array) -> Array:
        return mixture.dew_point(mixture.mole_fractions(fractions), P)[0]

    T, x = mixture.dew_point(mixture.mole_fractions(w), P)
    slope = np.stack([(dew(b) - dew(a)) / ((b - a)[:, i]) for i, (a, b) in enumerate(_moved(w))], axis=-1)
    model = mixture.dew_point_errors(T, x)
    start, end = evidence.head_start, evidence.head_end
    rise = end.value - start.value
    # the mean of two readings has half the variance of one
    variance = 0.5 * start.repeat**2 + place_variance * rise**2
    shared = {name: np.asarray(value) for name, value in start.shared.items()}
    shared["pressure"] = mixture.dew_slope(T, x) * evidence.pressure_u / P
    return slope, model, shared, variance, np.isfinite(start.value)


def _density(
    mixture: Mixture, evidence: Evidence, w: Array
) -> tuple[Array, Array, dict[str, Array], Array, NDArray[np.bool_]]:
    at = np.nan_to_num(evidence.density_temperature, nan=293.15)
    slope = np.stack(
        [(mixture.density(b, at) - mixture.density(a, at)) / ((b - a)[:, i]) for i, (a, b) in enumerate(_moved(w))],
        axis=-1,
    )
    shared = {name: np.asarray(value) for name, value in evidence.density.shared.items()}
    return slope, mixture.density_errors(w, at), shared, evidence.density.repeat**2, np.isfinite(evidence.density.value)
