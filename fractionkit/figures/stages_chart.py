"""A run beside its still: head temperature and composition along the mass collected, as the fitted still makes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fractionkit.figures.canvas import GRID, INK, picture
from fractionkit.figures.labels import MARKS, ZERO_CELSIUS, short_names
from fractionkit.quantities import mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fractionkit.stages import StillFit

SIZE = (8.4, 5.6)
_COLOURS = (MARKS["recycle"].colour, MARKS["redistil"].colour, MARKS["keep"].colour, "#CC79A7", MARKS["waste"].colour)
_DASHES = ("-", (0, (5, 2)), (0, (1, 1)), (0, (4, 1, 1, 1)), (0, (8, 2)))


def stages_chart(fit: StillFit) -> str:
    """Draw head temperature above and composition below, read and as the still makes them, with 95 % bands.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    unit, factor = mass_scale(float(fit.course.mass[-1]))
    words = (
        f"Head temperature and composition along {factor * fit.course.mass[-1]:.0f} {unit} collected, as read and as "
        f"{fit.stages.estimate:.1f} theoretical stages make them."
    )
    return picture("stages", "The run beside its still", words, SIZE, lambda figure: _draw(figure, fit))


def _draw(figure: Figure, fit: StillFit) -> None:
    upper = figure.add_axes((0.085, 0.59, 0.895, 0.39))
    lower = figure.add_axes((0.085, 0.17, 0.895, 0.39), sharex=upper)
    unit, factor = mass_scale(float(fit.course.mass[-1]))
    _heads(upper, fit, factor)
    _compositions(lower, fit, factor)
    edges = np.array([0.0, *(cut.ends for cut in fit.cuts)]) * factor
    for axes in (upper, lower):
        axes.grid(axis="y", color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
        if len(edges) <= 60:
            for edge in edges:
                axes.axvline(edge, color=GRID, linewidth=0.8, zorder=0)
        axes.yaxis.set_label_coords(-0.06, 0.5)
    upper.tick_params(labelbottom=False)
    upper.set_xlim(0.0, edges[-1])
    lower.set_xlabel(f"mass collected, {unit}")
    entries = [axes.get_legend_handles_labels() for axes in (upper, lower)]
    shown = {label: handle for handles, labels in entries for handle, label in zip(handles, labels, strict=True)}
    figure.legend(
        list(shown.values()), list(shown), loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=4, fontsize=7.8,
        borderaxespad=0.2, columnspacing=1.4,
    )  # fmt: skip


def _heads(axes: Axes, fit: StillFit, factor: float) -> None:
    course = fit.course
    mass = factor * course.mass
    low, middle, high = course.head - ZERO_CELSIUS
    axes.fill_between(mass, low, high, color=_COLOURS[0], alpha=0.22, linewidth=0)
    axes.plot(mass, middle, color=_COLOURS[0], linewidth=1.3, label="head, by the still")
    axes.plot(
        factor * course.read_mass, course.read_head - ZERO_CELSIUS, linestyle="none", marker="o", markersize=4.5,
        color=INK, label="head, read", clip_on=False,
    )  # fmt: skip
    axes.set_ylabel("head temperature, °C")


def _compositions(axes: Axes, fit: StillFit, factor: float) -> None:
    """What comes over as lines, the cuts' means by the readings as crosses with their intervals."""
    course = fit.course
    mass = factor * course.mass
    middles = np.array([cut.ends - 0.5 * cut.mass for cut in fit.cuts]) * factor
    for i, name in enumerate(short_names(fit.components, 22)):
        colour = _COLOURS[i % len(_COLOURS)]
        low, middle, high = 100.0 * course.w[..., i]
        axes.fill_between(mass, low, high, color=colour, alpha=0.2, linewidth=0)
        axes.plot(mass, middle, color=colour, linewidth=1.2, linestyle=_DASHES[i % len(_DASHES)], label=name)
        seen = [cut.assessed[i] for cut in fit.cuts]
        value = 100.0 * np.array([s.estimate for s in seen])
        error = np.abs(100.0 * np.array([[s.low for s in seen], [s.high for s in seen]]) - value)
        axes.errorbar(
            middles, value, yerr=error, fmt="s", markersize=3.2, color=colour, elinewidth=0.9, capsize=2,
            label="cuts, by their readings" if i == 0 else None, clip_on=False,
        )  # fmt: skip
    axes.set_ylim(-2.0, 102.0)
    axes.set_ylabel("coming over, wt%")
