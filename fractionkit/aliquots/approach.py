"""A first-order approach to a plateau fitted to a series: w = plateau + amplitude exp(-rate t).

Given the rate the model is linear; rate and the rest are separated (variable projection: Golub and Pereyra, SIAM J.
Numer. Anal. 10 (1973) 413), the rate laid on a logarithmic grid and weighted by its profile likelihood, the linear part
drawn from its normal distribution. Random numbers start from a fixed seed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.levelling import Signal
from fractionkit.aliquots.model import Approach

Array = NDArray[np.float64]

FEWEST = 5  # samples from which three numbers can be told
RATES = 240
DRAWS = 4000
SLOWEST, FASTEST = 0.05, 6.0  # rate times the length of the series; rate times the least spacing


def fit_approach(
    time: Array, signals: Sequence[Signal], tolerance: float | None, interval: float | None
) -> Approach | None:
    """Fit the approach; None with too few samples, or times that do not differ.

    time : (K,) s. signals : readings as mass fraction, each kind with its own constant offset. tolerance per
    ``interval`` (s) as in `levelling.design`.
    """
    t, y, sd, kind = _rows(time, signals)
    spacing = np.diff(np.unique(t))
    if len(np.unique(t)) < FEWEST or len(y) < FEWEST:
        return None
    length = float(np.ptp(t))
    rate = np.geomspace(SLOWEST / length, FASTEST / float(spacing.min()), RATES)
    start = float(t.min())
    decay = np.exp(-rate[:, None] * (t - start))
    offsets = (kind[:, None] == np.arange(kind.max() + 1)).astype(float)
    x = np.concatenate([np.broadcast_to(offsets, (RATES, *offsets.shape)), decay[..., None]], axis=-1)
    scaled = x / sd[:, None]
    normal = np.einsum("grp,grq->gpq", scaled, scaled)
    beta = np.linalg.solve(normal, np.einsum("grp,r->gp", scaled, y / sd)[..., None])[..., 0]
    chi2 = (((y - np.einsum("grp,gp->gr", x, beta)) / sd) ** 2).sum(axis=1)
    best = int(np.argmin(chi2))
    freedom = max(len(y) - x.shape[-1] - 1, 1)
    widening = max(1.0, float(chi2[best]) / freedom)
    weight = np.exp(-0.5 * (chi2 - chi2[best]) / widening)
    weight /= weight.sum()
    rng = np.random.default_rng(20240517)
    picked = rng.choice(RATES, DRAWS, p=weight)
    amplitude_sd = np.sqrt(widening * np.linalg.inv(normal)[:, -1, -1])
    amplitude = beta[picked, -1] + amplitude_sd[picked] * rng.standard_normal(DRAWS)
    low, high = np.quantile(1.0 / rate[picked], [0.025, 0.975])
    curve = beta[best, 0] + beta[best, -1] * np.exp(-rate[best] * (time - start))
    from scipy.special import chdtrc

    return Approach(
        (float(1.0 / rate[best]), float(low), float(high)),
        _level_time(rate, picked, amplitude, best, float(beta[best, -1]), start, tolerance, interval),
        curve,
        float(chi2[best]) / freedom,
        float(chdtrc(freedom, float(chi2[best]))),
    )


def _rows(time: Array, signals: Sequence[Signal]) -> tuple[Array, Array, Array, NDArray[np.intp]]:
    """All readings below each other: time, value, sd, number of the kind."""
    parts = []
    for number, signal in enumerate(signals):
        known = np.isfinite(signal.value) & np.isfinite(signal.sd)
        if known.any():
            parts.append((time[known], signal.value[known], signal.sd[known], np.full(int(known.sum()), number)))
    if not parts:
        empty = np.zeros(0)
        return empty, empty, empty, np.zeros(0, dtype=np.intp)
    t, y, sd, kind = (np.concatenate(column) for column in zip(*parts, strict=True))
    return t, y, sd, np.unique(kind, return_inverse=True)[1].astype(np.intp)


def level_time(rate: Array, amplitude: Array, tolerance: float, interval: float) -> Array:
    """Time (s, from the amplitude's origin, at least 0) from which |amplitude| e^(-rate t) (1 - e^(-rate interval)) is
    at most the tolerance.
    """
    size = np.abs(amplitude) * -np.expm1(-rate * interval) / tolerance
    return np.asarray(np.log(np.maximum(size, 1.0)) / rate)


def _level_time(
    rate: Array,
    picked: NDArray[np.intp],
    amplitude: Array,
    best: int,
    fitted: float,
    start: float,
    tolerance: float | None,
    interval: float | None,
) -> tuple[float, float, float] | None:
    if tolerance is None or interval is None:
        return None
    at = float(level_time(rate[best], np.array(fitted), tolerance, interval))
    low, high = np.quantile(level_time(rate[picked], amplitude, tolerance, interval), [0.025, 0.975])
    if not math.isfinite(at):
        return None
    return start + at, start + float(min(low, at)), start + float(max(high, at))
