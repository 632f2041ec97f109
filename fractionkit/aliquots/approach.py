"""A first-order approach to a plateau fitted to a series: w = plateau + amplitude exp(-rate t).

Given the rate the model is linear; rate and the rest are separated (variable projection: Golub and Pereyra, SIAM J.
Numer. Anal. 10 (1973) 413), the rate laid on a logarithmic grid, then on a finer one over the rates that count, and weighted
by its profile likelihood, the linear part drawn from its normal distribution. What all readings share (pure densities, an
excess volume) bends the series a little; to that the fit responds linearly. Random numbers start from a fixed seed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.levelling import Signal
from fractionkit.aliquots.model import Approach

Array = NDArray[np.float64]

FEWEST = 5  # samples from which three numbers can be told
RATES, FINE = 240, 301  # of the first grid, 1 to 4 % apart, and of that over the rates that count
NEGLIGIBLE = 30.0  # chi-squared above the least, were the scatter as stated
DRAWS = 4000
CLEAR = 5.0  # standard deviations of an amplitude from which a rate can be told at all
SLOWEST, FASTEST = 0.05, 6.0  # rate times the length of the series; rate times the least spacing


def fit_approach(
    time: Array,
    signals: Sequence[Signal],
    tolerance: float | None,
    interval: float | None,
    bends: Array | None = None,
) -> Approach | None:
    """Fit the approach; None with too few samples, or times that do not differ.

    time : (K,) s. signals : readings as mass fraction, each kind with its own constant offset. tolerance per
    ``interval`` (s) as in `levelling.design`. bends : (C, K) change of all samples in equally likely draws of the errors
    that they share.
    """
    t, y, sd, kind, sample = _rows(time, signals)
    spacing = np.diff(np.unique(t))
    if len(np.unique(t)) < FEWEST or len(y) < FEWEST:
        return None
    length = float(np.ptp(t))
    start = float(t.min())
    rate = np.geomspace(SLOWEST / length, FASTEST / float(spacing.min()), RATES)
    beta, chi2, amplitude_sd = _profile(rate, t - start, y, sd, kind)
    counts = np.flatnonzero(chi2 <= chi2.min() + NEGLIGIBLE * _widening(chi2, y, beta))
    rate = np.geomspace(rate[max(counts[0] - 1, 0)], rate[min(counts[-1] + 1, RATES - 1)], FINE)
    beta, chi2, amplitude_sd = _profile(rate, t - start, y, sd, kind)
    best = int(np.argmin(chi2))
    least, at, found = float(chi2[best]), float(rate[best]), beta[best]
    freedom, widening = _freedom(y, beta), _widening(chi2, y, beta)
    weight = np.exp(-0.5 * (chi2 - least) / widening)
    rng = np.random.default_rng(20240517)
    picked = rng.choice(FINE, DRAWS, p=weight / weight.sum())
    amplitude = beta[picked, -1] + np.sqrt(widening) * amplitude_sd[picked] * rng.standard_normal(DRAWS)
    drawn = rate[picked]
    if bends is not None and abs(found[-1]) > CLEAR * amplitude_sd[best]:
        shift = _response(at, found[-1], t - start, sd, kind, bends[:, sample])[rng.integers(len(bends), size=DRAWS)]
        drawn, amplitude = drawn * np.exp(np.clip(shift[:, 1] / at, -1.0, 1.0)), amplitude + shift[:, 0]
    low, high = np.quantile(1.0 / drawn, [0.025, 0.975])
    since = None
    if tolerance is not None and interval is not None:
        estimate = float(level_time(np.array(at), found[-1], tolerance, interval))
        ends = np.quantile(level_time(drawn, amplitude, tolerance, interval), [0.025, 0.975])
        since = (start + estimate, start + min(float(ends[0]), estimate), start + max(float(ends[1]), estimate))
    from scipy.special import chdtrc

    return Approach(
        (1.0 / at, min(float(low), 1.0 / at), max(float(high), 1.0 / at)),
        since,
        found[0] + found[-1] * np.exp(-at * (time - start)),
        least / freedom,
        float(chdtrc(freedom, least)),
    )


def _response(rate: float, amplitude: float, t: Array, sd: Array, kind: NDArray[np.intp], bends: Array) -> Array:
    """Change (C, 2) of amplitude and rate where the readings change by ``bends`` (C, r): linear least squares."""
    decay = np.exp(-rate * t)
    offsets = (kind[:, None] == np.arange(kind.max() + 1)).astype(float)
    x = np.column_stack([offsets, decay, -amplitude * t * decay]) / sd[:, None]
    return np.asarray(np.linalg.lstsq(x, (bends / sd).T, rcond=None)[0][-2:].T)


def _freedom(y: Array, beta: Array) -> int:
    """Degrees of freedom: readings less the numbers fitted, the rate among them."""
    return max(len(y) - int(beta.shape[1]) - 1, 1)


def _widening(chi2: Array, y: Array, beta: Array) -> float:
    """By how much the readings scatter more than stated (Birge, Phys. Rev. 40 (1932) 207), as a variance; at least one."""
    return max(1.0, float(chi2.min()) / _freedom(y, beta))


def _profile(rate: Array, t: Array, y: Array, sd: Array, kind: NDArray[np.intp]) -> tuple[Array, Array, Array]:
    """Least squares at each rate (G,): offsets of the kinds and amplitude (G, q), chi-squared (G,), sd of amplitude."""
    decay = np.exp(-rate[:, None] * t)
    offsets = (kind[:, None] == np.arange(kind.max() + 1)).astype(float)
    x = np.concatenate([np.broadcast_to(offsets, (len(rate), *offsets.shape)), decay[..., None]], axis=-1)
    scaled = x / sd[:, None]
    normal = np.einsum("grp,grq->gpq", scaled, scaled)
    beta = np.linalg.solve(normal, np.einsum("grp,r->gp", scaled, y / sd)[..., None])[..., 0]
    chi2 = (((y - np.einsum("grp,gp->gr", x, beta)) / sd) ** 2).sum(axis=1)
    return beta, chi2, np.sqrt(np.linalg.inv(normal)[:, -1, -1])


def _rows(time: Array, signals: Sequence[Signal]) -> tuple[Array, Array, Array, NDArray[np.intp], NDArray[np.intp]]:
    """All readings below each other: time, value, sd, number of the kind, number of the sample."""
    parts = []
    for number, signal in enumerate(signals):
        known = np.isfinite(signal.value) & np.isfinite(signal.sd)
        if known.any():
            of_kind = np.full(int(known.sum()), number)
            parts.append((time[known], signal.value[known], signal.sd[known], of_kind, np.flatnonzero(known)))
    if not parts:
        empty = np.zeros(0)
        none = np.zeros(0, dtype=np.intp)
        return empty, empty, empty, none, none
    t, y, sd, kind, sample = (np.concatenate(column) for column in zip(*parts, strict=True))
    return t, y, sd, np.unique(kind, return_inverse=True)[1].astype(np.intp), sample.astype(np.intp)


def level_time(rate: Array, amplitude: Array, tolerance: float, interval: float) -> Array:
    """Time (s, from the amplitude's origin, at least 0) from which |amplitude| e^(-rate t) (1 - e^(-rate interval)) is
    at most the tolerance.
    """
    size = np.abs(amplitude) * -np.expm1(-rate * interval) / tolerance
    return np.asarray(np.log(np.maximum(size, 1.0)) / rate)
