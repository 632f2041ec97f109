"""What a series says, in sentences."""

from __future__ import annotations

import math

from fractionkit.aliquots.model import Approach, Level
from fractionkit.quantities import decimals_of, format_interval
from fractionkit.sheets.aliquots import AliquotSeries


def duration(seconds: float) -> str:
    """A time in words: "45 s", "12 min", "2 h 10 min", "3 d 4 h"."""
    if not math.isfinite(seconds):
        return "–"
    sign = "-" if seconds < 0 else ""
    whole = round(abs(seconds))
    if whole < 120:
        return f"{sign}{whole} s"
    minutes = round(whole / 60)
    if minutes < 120:
        return f"{sign}{minutes} min"
    hours, left = divmod(minutes, 60)
    if hours < 48:
        return f"{sign}{hours} h" + (f" {left} min" if left else "")
    days, rest = divmod(round(minutes / 60), 24)
    return f"{sign}{days} d" + (f" {rest} h" if rest else "")


def moment(series: AliquotSeries, sample: int) -> str:
    """When a sample was taken: the clock time typed, or the time since the start."""
    return series.samples.cells[sample] if series.samples.clock else duration(float(series.samples.time[sample]))


def points(fraction: float, half_width: float) -> str:
    """A change of a mass fraction with its half-width: "-0.12 ± 0.40 wt%"."""
    decimals = decimals_of(100.0 * half_width) if math.isfinite(half_width) else 2
    if not math.isfinite(half_width):
        return "unknown"
    return f"{100.0 * fraction:+.{decimals}f} ± {100.0 * half_width:.{decimals}f} wt%"


def goal(level: Level) -> str:
    """The tolerance: "0.5 wt% in 30 min"."""
    return f"{100.0 * level.tolerance:.4g} wt% in {duration(level.interval)}"


def sentences(series: AliquotSeries, level: Level | None, approach: Approach | None) -> tuple[str, ...]:
    """The verdict, what it stands on, and what a first-order approach would add."""
    if level is None:
        if series.tolerance is None:
            return ("Whether it has levelled off is not judged: [level] names no tolerance and interval.",)
        return ("Whether it has levelled off cannot be judged: the readings say nothing of this component.",)
    told = [_verdict(series, level), _evidence(level)]
    if approach is not None and approach.level_time is not None:
        told.append(_approach(level, approach, float(series.samples.time[-1])))
    return tuple(told)


def _verdict(series: AliquotSeries, level: Level) -> str:
    what = series.follow.capitalize()
    if level.verdict == "levelled off":
        since = moment(series, level.shown_at or 0)
        text = f"{what} has levelled off: it changes by less than {goal(level)}, shown from {since} on"
        return text + (f", at {format_interval(*level.plateau)}." if level.plateau else ".")
    if level.verdict == "still moving":
        return f"{what} is still moving: it changes, and a change below {goal(level)} is not shown."
    text = f"Undecided: whether {series.follow} changes by less than {goal(level)} cannot be told yet"
    return text + (f"; a look needs {level.needed} samples at this spacing." if level.needed else ".")


def _evidence(level: Level) -> str:
    first, last = level.window
    if not math.isfinite(level.half_width):
        return "The slope cannot be told from so few samples."
    return (
        f"Over the last {last - first + 1} samples it changed by {points(level.change, level.half_width)} per "
        f"{duration(level.interval)}, all looks so far allowed for. However often one looks, a series that still moves "
        "by the tolerance or more is called level in at most 2.5 of 100 series, and a plateau is called moving in at "
        "most 5."
    )


def _approach(level: Level, approach: Approach, end: float) -> str:
    assert approach.level_time is not None
    at, low, high = approach.level_time
    verb = "fell" if at <= end else "will fall"
    tail = f" ({duration(low)} to {duration(high)})"
    constant = approach.time_constant
    return (
        f"If it approaches its plateau as a first-order process does, the change {verb} below {goal(level)} at "
        f"{duration(at)}{tail}; time constant {duration(constant[0])} ({duration(constant[1])} to "
        f"{duration(constant[2])})."
    )
