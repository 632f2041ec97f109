"""The samples as texts, the same in the report and in the terminal table."""

from __future__ import annotations

from dataclasses import dataclass

from fractionkit.aliquots.model import VERDICTS, Followed
from fractionkit.aliquots.words import duration, points
from fractionkit.quantities import format_interval


@dataclass(frozen=True)
class Row:
    """One sample: time, wt% with interval of each component, change since the first, verdict of the look, note."""

    time: str
    parts: tuple[str, ...]
    change: str
    verdict: str
    note: str


def rows_of(followed: Followed) -> list[Row]:
    """The samples in the order taken."""
    samples, made, change = followed.series.samples, followed.composition, followed.change
    half = 0.5 * (change.high - change.low)
    return [
        Row(
            samples.cells[k] if samples.clock else duration(float(samples.time[k])),
            tuple(
                format_interval(float(made.mean[k, i]), float(made.low[k, i]), float(made.high[k, i])).removesuffix(
                    " wt%"
                )
                for i in range(len(followed.series.components))
            ),
            "" if k == 0 else points(float(change.mean[k]), float(half[k])).removesuffix(" wt%"),
            "" if followed.level is None else VERDICTS[int(followed.level.verdicts[k])],
            samples.notes[k],
        )
        for k in range(len(samples))
    ]
