r"""Whether a series has levelled off, with stated error rates.

The question is asked anew after each sample: is the change per interval below the tolerance? At look j (the third
sample being the first) the slope of the last samples is found by weighted least squares, and the interval for the
change,

    b Delta +- z(1 - alpha_j / 2) se(b) Delta,     alpha_j = alpha / (j (j + 1)),     sum_j alpha_j = alpha,

holds the true mean change at all looks together with probability 1 - alpha, however long the series goes on: the error
is spent look by look (Lan and DeMets, Biometrika 70 (1983) 659) and added up by Bonferroni's inequality. "Levelled
off" is said where it lies within the tolerance (two one-sided tests: Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657),
"still moving" where it leaves out zero.

A look goes back over as few samples as make the half-width at most half the tolerance. That depends on times and
repeatability only, never on what was read, so it costs no error. Therefore (1) while the change is at or above the
tolerance, "levelled off" is ever said with a probability of at most alpha/2; (2) on a plateau that has lasted over
those samples, anything but "levelled off" is ever said with a probability of at most alpha. (1) holds for a change that
only slows down, as every approach of the first order does: the slope over a window is then never below that at its end.
Errors that repeat in every reading leave differences as they are and play no part; the thermal expansion, where the
temperature drifts, does not, and is added to the standard error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ALPHA = 0.05
FEWEST = 3  # samples on which a slope is taken
MOVING, UNDECIDED, LEVEL = -1, 0, 1


@dataclass(frozen=True)
class Signal:
    """One kind of reading turned into the mass fraction followed, up to a constant: value, sd (..., K), NaN where none.

    sd : (K,) of the error fresh in each reading. drift : (K,) change of all readings together for one standard deviation
    of an error that they share and that does not drop out of differences, as the thermal expansion where the bench warms.
    """

    value: Array
    sd: Array
    drift: Array | None = None


@dataclass(frozen=True)
class Design:
    """What the test will look at, known before anything is read; arrays (K,) over the looks, one a sample.

    start : first sample of the look's window. information : on the slope there (s2), from the fresh errors. se : standard
    error of the slope (1/s), infinite before one can be taken. critical : number of standard errors. enough : whether the
    half-width is at most half the tolerance.
    """

    time: Array
    start: NDArray[np.intp]
    information: Array
    se: Array
    critical: Array
    enough: NDArray[np.bool_]
    tolerance: float
    interval: float


@dataclass(frozen=True)
class Looks:
    """Outcome of every look, (..., K): change per interval, its half-width (K,) and the verdict (-1, 0, 1)."""

    change: Array
    half_width: Array
    verdict: NDArray[np.int8]


def critical_values(count: int, alpha: float = ALPHA) -> Array:
    """Standard errors (count,) for the looks after 1, 2, ... samples; infinite where no slope can be taken."""
    from scipy.special import ndtri

    look = np.arange(count) - FEWEST + 2.0
    spent = alpha / np.where(look >= 1.0, look * (look + 1.0), np.nan)
    return np.where(look >= 1.0, -ndtri(0.5 * spent), np.inf)


def design(
    time: Array,
    deviations: Sequence[Array],
    tolerance: float,
    interval: float,
    alpha: float = ALPHA,
    drifts: Sequence[Array | None] = (),
) -> Design:
    """Lay out the looks.

    time : (K,) s, not decreasing. deviations : one (K,) array a kind of reading, standard uncertainty of the fresh
    error as a mass fraction, NaN where not read. tolerance : mass fraction per ``interval`` (s). drifts : of each kind, see
    `Signal`; the slopes that they feign add to the standard error.
    """
    count = len(time)
    information = sum((_information(time, sd) for sd in deviations), np.zeros((count, count)))
    look, start = np.indices((count, count))
    information[(look - start < FEWEST - 1) | (information < 1e-12 * information.max(initial=0.0))] = 0.0
    critical = critical_values(count, alpha)
    known = np.where(information > 0.0, information, np.inf)
    feigned = [_moment(time, sd, e) / known for sd, e in zip(deviations, drifts, strict=False) if e is not None]
    with np.errstate(divide="ignore"):
        se = np.sqrt(1.0 / information + sum((part**2 for part in feigned), np.zeros_like(information)))
    wide = np.where(information > 0.0, critical[:, None] * se * interval, np.inf)
    fits = wide <= 0.5 * tolerance
    enough = np.asarray(fits.any(axis=1))
    latest = count - 1 - np.argmax(fits[:, ::-1], axis=1)
    first = np.where(enough, latest, 0)
    rows = np.arange(count)
    return Design(time, first, information[rows, first], se[rows, first], critical, enough, tolerance, interval)


def _precision(sd: Array) -> Array:
    known = np.isfinite(sd)
    return np.where(known, 1.0 / np.where(known, sd, 1.0) ** 2, 0.0)


def _information(time: Array, sd: Array) -> Array:
    """(K, K) information on the slope from samples start..look: sum p t^2 - (sum p t)^2 / sum p, by cumulated sums."""
    p, t = _precision(sd), time - time.mean()
    zero, one, two = (_between(np.cumsum(p * t**power)) for power in range(3))
    return np.maximum(two - one**2 / np.where(zero > 0.0, zero, 1.0), 0.0)


def _moment(time: Array, sd: Array, error: Array) -> Array:
    """(K, K) weighted covariance of ``error`` (K,) with time from samples start..look, times the information's weights."""
    p, t, e = _precision(sd), time - time.mean(), np.nan_to_num(error)
    zero, first, second, both = (_between(np.cumsum(p * part)) for part in (np.ones_like(t), t, e, t * e))
    return np.asarray(both - first * second / np.where(zero > 0.0, zero, 1.0))


def _between(total: Array) -> Array:
    """Sums over start..look, (K, K) by (look, start), from cumulated sums; zero where start comes after look."""
    before = np.concatenate([[0.0], total[:-1]])
    return np.tril(total[:, None] - before[None, :])


def look_at(plan: Design, signals: Sequence[Signal]) -> Looks:
    """Judge every look. Leading axes of the signals' values are kept: many series at once, all with one plan."""
    shape = np.broadcast_shapes(*(signal.value.shape for signal in signals))
    moment = np.zeros(shape)
    for signal in signals:
        p, t = _precision(signal.sd), plan.time - plan.time.mean()
        y = np.nan_to_num(signal.value)
        y = y - (p * y).sum(axis=-1, keepdims=True) / max(float(p.sum()), 1e-300)
        sums = [np.cumsum(part, axis=-1) for part in (p, p * t, p * y, p * t * y)]
        n, st, sy, sty = (_window(part, plan.start) for part in sums)
        moment = moment + sty - st * sy / np.where(n > 0.0, n, 1.0)
    usable = np.isfinite(plan.se)
    se = np.where(usable, plan.se, 0.0)
    change = np.where(usable, moment / np.where(usable, plan.information, 1.0) * plan.interval, np.nan)
    half = np.where(usable, np.where(usable, plan.critical, 0.0) * se * plan.interval, np.inf)
    size = np.where(usable, np.abs(np.nan_to_num(change)), 0.0)
    verdict = np.where(size > half, MOVING, UNDECIDED)
    verdict = np.where(size + half <= plan.tolerance, LEVEL, verdict).astype(np.int8)
    return Looks(change, half, verdict)


def _window(total: Array, start: NDArray[np.intp]) -> Array:
    before = np.concatenate([np.zeros((*total.shape[:-1], 1)), total[..., :-1]], axis=-1)
    return np.asarray(total - before[..., start])


def level_from(looks: Looks) -> int | None:
    """The first look from which on all say "levelled off"; None where the last does not. For one series (K,)."""
    other = np.flatnonzero(looks.verdict != LEVEL)
    first = int(other[-1]) + 1 if other.size else 0
    return first if first < looks.verdict.shape[-1] else None


def samples_needed(sd: float, spacing: float, tolerance: float, interval: float, look: int) -> int:
    """How many samples a window must hold, evenly ``spacing`` (s) apart, for a look after ``look`` samples to decide.

    The slope of m such samples has the standard error sd / (spacing sqrt(m (m^2 - 1) / 12)).
    """
    from scipy.special import ndtri

    m = np.arange(FEWEST, 5000)
    index = np.maximum(look, m) - FEWEST + 1.0
    critical = -ndtri(0.5 * ALPHA / (index * (index + 1.0)))
    half = critical * sd * interval / (spacing * np.sqrt(m * (m**2 - 1.0) / 12.0))
    fits = np.flatnonzero(half <= 0.5 * tolerance)
    return int(m[fits[0]]) if fits.size else int(m[-1])
