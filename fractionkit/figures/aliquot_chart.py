"""Composition of a series of aliquots against time: level with its band, and change since the first sample with its."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.model import Band, Followed
from fractionkit.aliquots.words import goal
from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import MARKS, shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 5.4)
_LEVEL = MARKS["recycle"].colour
_CHANGE = MARKS["redistil"].colour
_FLAT = MARKS["keep"].colour
_UNITS = ((2.0 * 86400.0, 86400.0, "d"), (4.0 * 3600.0, 3600.0, "h"), (120.0, 60.0, "min"), (0.0, 1.0, "s"))
_DOTS = 150  # up to here every sample has a mark of its own


def aliquot_chart(followed: Followed) -> str:
    """Draw the level of the followed component above and its change since the first sample below.

    The two have bands of their own: errors that repeat in every reading move the level and not the change.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    series, place = followed.series, followed.followed
    level = followed.level
    words = (
        f"Mass fraction of {series.follow} in {len(series.samples)} samples, from "
        f"{100 * followed.composition.mean[0, place]:.3g} to {100 * followed.composition.mean[-1, place]:.3g} wt%"
        + (f"; {level.verdict}." if level is not None else ".")
    )
    return picture("aliquots", "Composition against time", words, SIZE, lambda figure: _draw(figure, followed))


def time_unit(longest: float) -> tuple[float, str]:
    """Seconds in the unit that suits a series of this length (s), and its name."""
    return next((size, name) for least, size, name in _UNITS if longest >= least)


def _draw(figure: Figure, followed: Followed) -> None:
    series, place = followed.series, followed.followed
    size, unit = time_unit(float(np.ptp(series.samples.time)))
    time = series.samples.time / size
    upper = figure.add_axes((0.085, 0.49, 0.895, 0.49))
    lower = figure.add_axes((0.085, 0.155, 0.895, 0.29), sharex=upper)
    made = followed.composition
    level = Band(made.mean[:, place], made.low[:, place], made.high[:, place])
    _band(upper, time, level, _LEVEL, "level")
    _band(lower, time, followed.change, _CHANGE, "change since the first")
    if followed.approach is not None:  # known up to a constant: laid through the middle of the levels
        fitted = followed.approach.curve + float(np.mean(level.mean - followed.approach.curve))
        upper.plot(time, 100.0 * fitted, color=INK, linewidth=1.0, linestyle=(0, (5, 3)), label="first order")
    _level(upper, lower, followed, size)
    for axes in (upper, lower):
        axes.grid(color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
    upper.tick_params(labelbottom=False)
    upper.set_ylabel(f"{shorten(series.follow, 24)}, wt%")
    lower.set_ylabel("change, wt%")
    for axes in (upper, lower):
        axes.yaxis.set_label_coords(-0.06, 0.5)
    start = f" since {series.samples.clock}" if series.samples.clock else ""
    lower.set_xlabel(shorten(f"time{start}, {unit}", 80))
    entries = [axes.get_legend_handles_labels() for axes in (upper, lower)]
    shown = {label: handle for handles, labels in entries for handle, label in zip(handles, labels, strict=True)}
    figure.legend(
        list(shown.values()), list(shown), loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=6, fontsize=7.8,
        borderaxespad=0.2, columnspacing=1.4,
    )  # fmt: skip


def _band(axes: Axes, time: Array, band: Band, colour: str, name: str) -> None:
    axes.fill_between(
        time, 100.0 * band.low, 100.0 * band.high, color=colour, alpha=0.2, linewidth=0, label=f"{name}, 95 %"
    )
    marker = "o" if len(time) <= _DOTS else ""
    axes.plot(
        time, 100.0 * band.mean, color=colour, linewidth=0.8, marker=marker, markersize=3.5, markeredgecolor=INK,
        markeredgewidth=0.4, label=name,
    )  # fmt: skip


def _level(upper: Axes, lower: Axes, followed: Followed, size: float) -> None:
    """Shade the window that the last look goes back over where it is level; a line where level was first shown."""
    level = followed.level
    if level is None or level.shown_at is None:
        return
    time = followed.series.samples.time / size
    shown = float(time[level.shown_at])
    for axes in (upper, lower):
        axes.axvspan(time[level.window[0]], time[-1], color=_FLAT, alpha=0.12, linewidth=0)
        axes.axvline(shown, color=_FLAT, linewidth=1.2, linestyle=(0, (2, 2)))
    right = shown > 0.5 * (time[0] + time[-1])
    upper.annotate(
        f"level from here on: under {goal(level)}", (shown, 0.965),
        xycoords=("data", "axes fraction"), xytext=(-5 if right else 5, 0), textcoords="offset points",
        ha="right" if right else "left", va="top", fontsize=7.4, color=FAINT,
    )  # fmt: skip
