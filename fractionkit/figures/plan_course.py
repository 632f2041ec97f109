"""The course of the best set-up: head temperature as the thermometer will read along the mass distilled, cuts as bands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import DECISIONS, MARKS, ZERO_CELSIUS, plain, short_names, shorten
from fractionkit.planning.model import Course, Plan, Trial
from fractionkit.quantities import mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 5.0)
# palette of Okabe and Ito (2008); the line style tells components apart without colour
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9")
STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)), (0, (1, 1)))


def course_chart(plan: Plan, trial: Trial) -> str:
    """Draw head temperature and composition of what comes over, with the receivers of a set-up as bands.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    course = trial.course
    assert course is not None
    assert trial.cuts is not None
    count = len(trial.cuts.receivers)
    words = (
        f"Predicted head temperature, from {course.head[0] - ZERO_CELSIUS:.1f} to {course.head[-1] - ZERO_CELSIUS:.1f} °C, "
        f"and composition of the distillate along the mass distilled with {plain(trial.setup.name)}, in {count} receivers."
    )
    return picture("course", "Course of the distillation", words, SIZE, lambda figure: _draw(figure, plan, trial))


def _draw(figure: Figure, plan: Plan, trial: Trial) -> None:
    course = trial.course
    assert course is not None
    upper = figure.add_axes((0.085, 0.43, 0.895, 0.5))
    lower = figure.add_axes((0.085, 0.165, 0.895, 0.22), sharex=upper)
    unit, factor = mass_scale(course.mass[-1])
    mass = factor * course.mass
    upper.set_xlim(0.0, mass[-1])
    _head(upper, mass, course)
    for place, name in enumerate(short_names(plan.components, 24)):
        style, colour = STYLES[place % len(STYLES)], COLOURS[place % len(COLOURS)]
        lower.plot(mass, 100.0 * course.w[:, place], color=colour, linestyle=style, linewidth=1.5, label=name)
    lower.set_ylim(0.0, 102.0)
    lower.set_ylabel("distillate, wt%")
    lower.set_xlabel(f"distilled, {unit}")
    upper.set_ylabel("head temperature\nas it will read, °C")
    upper.tick_params(labelbottom=False)
    for axes in (upper, lower):
        axes.grid(axis="y", color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
    _bands(upper, lower, trial, factor, mass[-1])
    handles, labels = lower.get_legend_handles_labels()
    known, said = upper.get_legend_handles_labels()
    figure.legend(
        known + handles, said + labels, loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=5, fontsize=7.8,
        borderaxespad=0.2, columnspacing=1.4,
    )  # fmt: skip


def _head(axes: Axes, mass: Array, course: Course) -> None:
    low, high = (part - ZERO_CELSIUS for part in (course.head_low, course.head_high))
    axes.fill_between(mass, low, high, color=INK, alpha=0.16, linewidth=0, label="head, 95 %")
    axes.plot(mass, course.head - ZERO_CELSIUS, color=INK, linewidth=1.7, label="head, middle")
    bottom, top = float(low.min()), float(high.max())
    reach = max(top - bottom, 0.5)
    axes.set_ylim(bottom - 0.2 * reach, top + 0.05 * reach)


def _bands(upper: Axes, lower: Axes, trial: Trial, factor: float, whole: float) -> None:
    """Receivers as bands at their median ends, with their names above and the decision below the curve."""
    cuts = trial.cuts
    assert cuts is not None
    ends = factor * np.median(cuts.masses, axis=0)
    starts = np.concatenate([[0.0], ends[:-1]])
    for receiver, start, end in zip(cuts.receivers, starts, ends, strict=True):
        mark = MARKS[receiver.decision]
        for axes in (upper, lower):
            axes.axvspan(start, end, color=mark.colour, alpha=0.13, linewidth=0, zorder=0.2)
            axes.axvline(end, color=FAINT, linewidth=0.5, zorder=0.4)
        frame = upper.get_xaxis_transform()
        upper.broken_barh(
            [(start, end - start)], (0, 0.05), transform=frame, facecolor=mark.colour if not mark.hatch else "white",
            edgecolor=mark.colour, hatch=mark.hatch, linewidth=0.6, zorder=2.2,
        )  # fmt: skip
        wide = (end - start) / whole
        middle = 0.5 * (start + end)
        if wide > 0.02:
            upper.text(
                middle, 1.015, shorten(receiver.name, 10), transform=frame, ha="center", va="bottom", fontsize=7.5
            )
        if wide > 0.08:
            upper.text(
                middle, 0.07, mark.word, transform=frame, ha="center", va="bottom", fontsize=8, fontweight="bold",
                zorder=4,
            )  # fmt: skip
    _decisions(upper, {receiver.decision for receiver in cuts.receivers})


def _decisions(axes: Axes, present: set[str]) -> None:
    """Entries of the legend for the decisions, which narrow bands have no room to name."""
    for decision in DECISIONS:
        if decision in present:
            mark = MARKS[decision]
            axes.fill_between(
                [], [], [], facecolor=mark.colour if not mark.hatch else "white", edgecolor=mark.colour, hatch=mark.hatch,
                linewidth=0.6, label=mark.word,
            )  # fmt: skip
