"""Compositions of all samples of a series and the errors that their readings share.

Samples of one liquid are not like the cuts of a run. With as many readings as unknown compositions the readings tell
nothing of the shared errors; a prior flat on each composition by itself would make them do so all the same, by preferring
(K times over) those under which a reading changes least with composition, or under which every sample of a liquid that is
nearly pure lies well inside 0-100 %. So here the compositions are flat in what is read, and

1. shared errors: normal prior, updated by what readings of two kinds on one sample say of each other (linear and normal:
   with y = f + G d + J theta + e and d flat, the information is J^T Q J, Q = P - P G (G^T P G)^-1 G^T P);
2. given them, each sample's composition by Newton's method, z +- its fresh error, not held within 0-100 %;
3. one weight on the shared errors: the probability that running means of z over `SMOOTH` samples, as one liquid's, lie
   within 0-100 %, taken once, where it is least.

Levels are drawn within 0-100 %, changes and running means from the unbounded z, so that noise at the end of the scale
does not make a trend. Random numbers start from fixed seeds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.sensors import Sensor, sensors_of
from fractionkit.composition.evidence import Evidence
from fractionkit.errors import ConvergenceError
from fractionkit.inference.summary import drawn_interval, pick_samples
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

MOST_DRAWS, LEAST_DRAWS = 2048, 512
NUMBERS = 1 << 19
STEPS = 3  # of Newton's method
SMOOTH = 5  # samples
FLAT = 12.0  # precision of a composition that is flat on 0-1, for what the readings do not tell
LEAST_EFFECTIVE = 0.02
TRIES = 40
CURVES = 64


@dataclass(frozen=True)
class SeriesPosterior:
    """What the readings of a series say.

    mean, low, high : (K, n) mass fractions and 95 % intervals, within 0-1. free : (D, K, n) joint draws of the
    compositions not held within 0-1. curves : (C, K, n) compositions without fresh errors, for some draws of the shared ones:
    how these bend the whole series. errors, theta : names (p,) of the shared errors and draws (D, p), in standard
    deviations. effective : effective number of draws of the shared errors.
    """

    mean: Array
    low: Array
    high: Array
    free: Array
    curves: Array
    errors: tuple[str, ...]
    theta: Array
    effective: float


def fit_series(mixture: Mixture, evidence: Evidence) -> SeriesPosterior:
    """Fit a series; see the module.

    Raises
    ------
    ConvergenceError
        if the readings are so far outside the mixture that no interval can be stated.
    """
    names, sensors = sensors_of(mixture, evidence)
    rng = np.random.default_rng(20240601)
    count = int(np.clip(NUMBERS // (evidence.size * max(len(names), 1)), LEAST_DRAWS, MOST_DRAWS))
    start = np.full((evidence.size, mixture.n), 1.0 / mixture.n)
    for _ in range(2):  # from the middle to where each sample is, the shared errors at zero
        start = _inside(solve(sensors, np.zeros((1, len(names))), start)[0][0])
    centre, root = _shared(sensors, len(names), start)
    half = rng.standard_normal((count // 2, len(names)))
    theta = centre + np.concatenate([half, -half]) @ root.T
    z, spread = solve(sensors, theta, start)
    weights = _feasible(z, spread)
    effective = float(1.0 / (weights**2).sum())
    if effective < LEAST_EFFECTIVE * count:
        raise ConvergenceError(
            "the readings lie outside what these substances can show, whatever their shared errors: another substance, "
            "a density at another temperature, or a specific gravity taken as g/mL"
        )
    picked = pick_samples(weights, count, rng)
    z, spread, theta = z[picked], spread[picked], theta[picked]
    noise = (spread @ rng.standard_normal((*z.shape, 1)))[..., 0]
    inside = _held(z, spread, noise, rng)
    curves = _whole(z[:: max(count // CURVES, 1)])
    return SeriesPosterior(*drawn_interval(inside), _whole(z + noise), curves, names, theta, effective)


def _whole(part: Array) -> Array:
    """All n mass fractions from the first n - 1."""
    return np.concatenate([part, 1.0 - part.sum(axis=-1, keepdims=True)], axis=-1)


def _inside(z: Array) -> Array:
    """The composition (..., n) within the simplex that is nearest, nearly, to ``z`` (..., n - 1)."""
    w = np.clip(_whole(z), 0.0, None)
    return np.asarray(w / w.sum(axis=-1, keepdims=True))


def _information(sensors: list[Sensor], w: Array) -> tuple[Array, list[Array]]:
    """G^T P G (..., K, d, d) at ``w`` (..., K, n), and the slopes (..., K, d) of each kind."""
    slopes = [sensor.slope(w) for sensor in sensors]
    total = sum(
        s.precision[:, None, None] * g[..., :, None] * g[..., None, :] for s, g in zip(sensors, slopes, strict=True)
    )
    return np.asarray(total), slopes


def solve(sensors: list[Sensor], theta: Array, start: Array) -> tuple[Array, Array]:
    """Compositions that the readings show under shared errors ``theta`` (S, p): z (S, K, d) and a root of its covariance.

    start : (K, n). Weighted least squares in each sample; a direction on which the readings are silent keeps the
    spread of a flat composition about its middle.
    """
    d = start.shape[1] - 1
    w = np.broadcast_to(start, (len(theta), *start.shape))
    shared = theta[:, None, :]
    for _ in range(STEPS):
        information, slopes = _information(sensors, w)
        silent = np.linalg.eigvalsh(information)[..., :1] < FLAT
        prior = np.where(silent, FLAT, 0.0)
        misfit = prior * (1.0 / (d + 1) - w[..., :d])
        for sensor, slope in zip(sensors, slopes, strict=True):
            gap = sensor.reading - sensor.predict(w) - sensor.shift(w, shared)
            misfit = misfit + (sensor.precision * gap)[..., None] * slope
        information = information + prior[..., None] * np.eye(d)
        z = w[..., :d] + np.linalg.solve(information, misfit[..., None])[..., 0]
        w = _inside(z)
    return z, np.linalg.cholesky(np.linalg.inv(information))


def _shared(sensors: list[Sensor], size: int, start: Array) -> tuple[Array, Array]:
    """Mean (p,) of the shared errors and a root (p, p) of their covariance, by what two kinds say of each other."""
    centre = np.zeros(size)
    covariance = np.eye(size)
    if len(sensors) <= start.shape[1] - 1:
        return centre, covariance  # as many unknowns as readings: nothing is said
    for _ in range(3):
        w = _inside(solve(sensors, centre[None], start)[0][0])
        information, slopes = _information(sensors, w)
        d = information.shape[-1]
        silent = np.linalg.eigvalsh(information)[:, :1] < FLAT
        inverse = np.linalg.inv(information + np.where(silent, FLAT, 0.0)[..., None] * np.eye(d))
        g = np.stack(slopes, axis=1)  # (K, kinds, d)
        p = np.stack([sensor.precision for sensor in sensors], axis=1)  # (K, kinds)
        jacobian = np.stack([sensor.jacobian(w) for sensor in sensors], axis=1)  # (K, kinds, p)
        gap = np.stack([sensor.reading - sensor.predict(w) for sensor in sensors], axis=1)
        weighted = p[..., None] * g
        projector = p[..., None] * np.eye(len(sensors)) - weighted @ inverse @ np.swapaxes(weighted, 1, 2)
        fisher = np.einsum("kap,kab,kbq->pq", jacobian, projector, jacobian, optimize=True)
        covariance = np.linalg.inv(np.eye(size) + fisher)
        centre = covariance @ np.einsum("kap,kab,kb->p", jacobian, projector, gap, optimize=True)
    return centre, np.asarray(np.linalg.cholesky(covariance))


def _feasible(z: Array, spread: Array) -> Array:
    """Weights (S,) of the shared errors: the least probability that a running mean lies within 0-100 %."""
    from scipy.special import log_ndtr

    w = _whole(z)
    whole = np.concatenate([spread, -spread.sum(axis=-2, keepdims=True)], axis=-2)
    variance = (whole**2).sum(axis=-1)
    width = min(SMOOTH, z.shape[1])
    mean, mean_variance = _running(w, width), _running(variance, width) / width
    log_chance = log_ndtr(mean / np.sqrt(mean_variance)).min(axis=1).sum(axis=-1)
    weights = np.exp(log_chance - max(float(log_chance.max()), -30.0))
    total = float(weights.sum())
    if not total > 1e-6 * len(weights):
        return np.full(len(weights), 1.0)  # hopeless: an effective number below any limit
    return np.asarray(weights / total)


def _running(values: Array, width: int) -> Array:
    """Running means over ``width`` samples along the second axis of (S, K, ...)."""
    total = np.cumsum(values, axis=1)
    ahead = total[:, width - 1 :]
    behind = np.concatenate([np.zeros_like(total[:, :1]), total[:, :-width]], axis=1)
    return np.asarray((ahead - behind) / width)


def _held(z: Array, spread: Array, noise: Array, rng: np.random.Generator) -> Array:
    """Draws (S, K, n) within the simplex: those outside are drawn again, and set on its edge after `TRIES`."""
    found = z + noise
    for _ in range(TRIES):
        outside = np.nonzero((_whole(found) < 0.0).any(axis=-1))
        if not outside[0].size:
            break
        fresh = rng.standard_normal((outside[0].size, z.shape[-1], 1))
        found[outside] = z[outside] + (spread[outside] @ fresh)[..., 0]
    return _inside(found)
