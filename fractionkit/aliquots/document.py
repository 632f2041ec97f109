"""A followed series as JSON, schema ``fractionkit/aliquots/1``: fractions 0-1, times in min, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.aliquots.model import VERDICTS, Approach, Followed, Level
from fractionkit.files import json_text as text_of
from fractionkit.files import number

SCHEMA = "fractionkit/aliquots/1"
_MINUTE = 60.0


def as_json(followed: Followed) -> dict[str, Any]:
    """The document, ready for `json.dumps`; every figure that is not finite is None."""
    series = followed.series
    return {
        "schema": SCHEMA,
        "title": series.title,
        "date": None if series.date is None else series.date.isoformat(),
        "components": list(series.components),
        "follow": series.follow,
        "clock_start": series.samples.clock or None,
        "aliquots": [_aliquot(followed, k) for k in range(len(series.samples))],
        "level": None if followed.level is None else _level(followed.level, followed),
        "approach": None if followed.approach is None else _approach(followed.approach),
        "text": list(followed.text),
        "warnings": list(followed.warnings),
    }


def json_text(followed: Followed) -> str:
    """The document as text."""
    return text_of(as_json(followed))


def _aliquot(followed: Followed, k: int) -> dict[str, Any]:
    samples, made, change = followed.series.samples, followed.composition, followed.change
    return {
        "time_min": number(samples.time[k] / _MINUTE),
        "time": samples.cells[k],
        "composition": {
            name: _estimate(made.mean[k, i], made.low[k, i], made.high[k, i])
            for i, name in enumerate(followed.series.components)
        },
        "change_since_first": _estimate(change.mean[k], change.low[k], change.high[k]),
        "verdict": None if followed.level is None else VERDICTS[int(followed.level.verdicts[k])],
        "note": samples.notes[k],
    }


def _level(level: Level, followed: Followed) -> dict[str, Any]:
    time = followed.series.samples.time
    return {
        "verdict": level.verdict,
        "tolerance": level.tolerance,
        "interval_min": level.interval / _MINUTE,
        "level_from_min": None if level.shown_at is None else number(time[level.shown_at] / _MINUTE),
        "window": {
            "samples": level.window[1] - level.window[0] + 1,
            "from_min": number(time[level.window[0]] / _MINUTE),
            "to_min": number(time[level.window[1]] / _MINUTE),
        },
        "change_per_interval": _estimate(
            level.change, level.change - level.half_width, level.change + level.half_width
        ),
        "plateau": None if level.plateau is None else _estimate(*level.plateau),
        "false_levelled_off_at_most": 0.025,
        "false_still_moving_at_most": 0.05,
        "samples_needed": level.needed,
    }


def _approach(approach: Approach) -> dict[str, Any]:
    level = approach.level_time
    return {
        "model": "first order: plateau + amplitude exp(-t / time constant)",
        "time_constant_min": _estimate(*(part / _MINUTE for part in approach.time_constant)),
        "level_from_min": None if level is None else _estimate(*(part / _MINUTE for part in level)),
        "scatter": number(approach.scatter),
        "scatter_probability": number(approach.scatter_chance),
    }


def _estimate(estimate: float, low: float, high: float) -> dict[str, float | None]:
    return {"estimate": number(estimate), "low": number(low), "high": number(high)}
