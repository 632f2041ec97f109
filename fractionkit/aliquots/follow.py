"""From a series of aliquots to composition against time, and whether it has levelled off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots import levelling, words
from fractionkit.aliquots.approach import fit_approach
from fractionkit.aliquots.levelling import Signal
from fractionkit.aliquots.model import VERDICTS, Approach, Band, Followed, Level
from fractionkit.aliquots.posterior import SeriesPosterior, fit_series
from fractionkit.aliquots.signals import evidence_of, signals_of
from fractionkit.mixture import Mixture
from fractionkit.sheets.aliquots import AliquotSeries

Array = NDArray[np.float64]

STRAINED = 0.01  # probability of the scatter below which the stated repeatability is not believed


def follow(series: AliquotSeries) -> Followed:
    """Composition of every aliquot, its change since the first, and whether it has levelled off.

    Raises
    ------
    InputError
        where a reading cannot be corrected.
    ConvergenceError
        where the readings are so much at odds that no interval can be stated.
    """
    mixture = Mixture(series.components)
    evidence, warnings = evidence_of(series, mixture)
    posterior = fit_series(mixture, evidence)
    place = series.components.index(series.follow)
    signals = signals_of(mixture, evidence, posterior.mean, place)
    time = series.samples.time
    bends = posterior.curves[..., place]
    approach = fit_approach(time, signals, series.tolerance, series.interval, bends - bends.mean(axis=0))
    wide, told = _scatter(approach)
    signals = [replace(signal, sd=signal.sd * wide) for signal in signals]
    level = _level(series, signals, posterior, place)
    borrowed = (
        ("The refractive index was taken at the density's temperature where it has none of its own.",)
        if series.samples.borrowed
        else ()
    )
    return Followed(
        series,
        Band(posterior.mean, posterior.low, posterior.high),
        _change(posterior.free[..., place]),
        place,
        level,
        approach,
        words.sentences(series, level, approach),
        (*warnings, *told, *borrowed),
    )


def _change(draws: Array) -> Band:
    """Change since the first sample (K,) from joint draws (D, K): what is in all readings alike drops out."""
    moved = draws - draws[:, :1]
    low, high = np.quantile(moved, [0.025, 0.975], axis=0)
    return Band(moved.mean(axis=0), low, high)


def _scatter(approach: Approach | None) -> tuple[float, tuple[str, ...]]:
    """Factor on the fresh errors where the readings scatter more than stated (Birge, Phys. Rev. 40 (1932) 207)."""
    if approach is None or approach.scatter_chance >= STRAINED or approach.scatter <= 1.0:
        return 1.0, ()
    factor = float(np.sqrt(approach.scatter))
    text = (
        f"The readings scatter {factor:.2g} times as much about a first-order approach as the stated repeatability "
        "allows; the test of levelling off takes the larger scatter. Either the repeatability is stated too small or "
        "the series does not approach one plateau."
    )
    return factor, (text,)


def _level(series: AliquotSeries, signals: Sequence[Signal], posterior: SeriesPosterior, place: int) -> Level | None:
    """The test of levelling off; None where no tolerance is given or nothing can be told from the readings."""
    if series.tolerance is None or series.interval is None or not signals:
        return None
    time = series.samples.time
    plan = levelling.design(
        time,
        [signal.sd for signal in signals],
        series.tolerance,
        series.interval,
        drifts=[signal.drift for signal in signals],
    )
    looks = levelling.look_at(plan, signals)
    since = levelling.level_from(looks)
    window = (int(plan.start[-1]), len(time) - 1)
    plateau = None
    if looks.verdict[-1] == levelling.LEVEL:
        plateau = _plateau(posterior.free[:, window[0] :, place])
    return Level(
        VERDICTS[int(looks.verdict[-1])],
        series.tolerance,
        series.interval,
        since,
        window,
        float(looks.change[-1]),
        float(looks.half_width[-1]),
        plateau,
        looks.verdict,
        None if plan.enough[-1] else _needed(series, signals),
    )


def _plateau(draws: Array) -> tuple[float, float, float]:
    """Level of a plateau (mean, low, high) from draws (D, m) of its samples: averaged first, then held within 0-1."""
    level = draws.mean(axis=1)
    inside = level[(level >= 0.0) & (level <= 1.0)]
    if not inside.size:
        inside = np.clip(level, 0.0, 1.0)
    mean = float(inside.mean())
    edge = np.clip(level, 0.0, 1.0)  # draws outside stand at the edge, so that an interval there reaches it
    low, high = np.quantile(edge, [0.025, 0.975])
    return mean, float(min(low, mean)), float(max(high, mean))


def _needed(series: AliquotSeries, signals: Sequence[Signal]) -> int | None:
    """Samples that a look must go back over, at the spacing and repeatability that the series has."""
    time = series.samples.time
    if len(time) < 2 or not time[-1] > time[0] or series.tolerance is None or series.interval is None:
        return None
    precision = sum(1.0 / np.nanmedian(s.sd) ** 2 for s in signals if np.isfinite(s.sd).any())
    if not precision > 0.0:
        return None
    spacing = float(time[-1] - time[0]) / (len(time) - 1)
    sd = float(1.0 / np.sqrt(precision))
    return levelling.samples_needed(sd, spacing, series.tolerance, series.interval, len(time))
