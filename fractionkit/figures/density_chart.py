"""Density against composition: the model's line with its band, the straight line of adding volumes, the readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Assessment, Curve
from fractionkit.figures import thin
from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import DECISIONS, MARKS, ZERO_CELSIUS, shorten
from fractionkit.quantities import COVERAGE_95

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 5.4)
_NAMED = 30
_PAIR = 0.8  # a cut with less of the pair than this is not drawn on it
_BARRED = 60  # up to here the readings carry their 95 % bars
_LINE = MARKS["recycle"].colour


@dataclass(frozen=True)
class _Points:
    """Readings to draw, arrays (R,): place in the run, decision, wt% with interval, g/mL with half-width, mg/mL off."""

    cut: NDArray[np.int64]
    code: NDArray[np.int64]
    along: Array
    low: Array
    high: Array
    read: Array
    half: Array
    off: Array
    apart: int  # readings left out, because too much of the cut is none of the pair


def density_chart(assessment: Assessment) -> str:
    """Draw density against the mass fraction of the curve's component, and below it how far each reading lies off.

    With more than two components the readings are projected on the curve's pair: the fraction drawn is
    ``w_i / (w_i + w_j)``, the marks are hollow, the axis says so, cuts with much of the others are left out, and
    there is no lower part.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`. "" where the assessment holds no curve.

    """
    curve = assessment.curve
    if curve is None:
        return ""
    points = _points(assessment, curve)
    words = (
        f"Density at {curve.temperature - ZERO_CELSIUS:.1f} °C of {curve.component} with {curve.other}, from "
        f"{curve.density[0] / 1000:.4f} to {curve.density[-1] / 1000:.4f} g/mL, with {points.cut.size} readings, "
        "the model's band and the line of adding volumes."
    )
    return picture(
        "density", "Density and composition", words, SIZE, lambda figure: _draw(figure, assessment, curve, points)
    )


def _points(assessment: Assessment, curve: Curve) -> _Points:
    """Readings of density with the estimate of the cut they belong to; intervals are NaN where projected."""
    apart = np.zeros(len(assessment.cuts), dtype=np.bool_)
    mine = [cut.composition[curve.component] for cut in assessment.cuts]
    values = np.array([(made.estimate, made.low, made.high) for made in mine], dtype=np.float64).reshape(-1, 3).T
    if len(assessment.components) > 2:
        other = np.array([cut.composition[curve.other].estimate for cut in assessment.cuts], dtype=np.float64)
        both = values[0] + other
        values[0] = np.divide(values[0], both, out=np.full_like(both, np.nan), where=both > 0)
        values[1:] = np.nan
        apart = both < _PAIR
    read = np.asarray(assessment.readings.density, dtype=np.float64)
    off = read - np.interp(values[0], curve.fraction, curve.density)
    codes = np.array([DECISIONS.index(cut.decision) for cut in assessment.cuts], dtype=np.int64)
    drawable = np.isfinite(read) & np.isfinite(values[0])
    known = np.flatnonzero(drawable & ~apart)
    if known.size > thin.MAX_DRAWN:  # one mark for each spot that a reader could tell apart
        spots = np.column_stack((codes, np.round(values[0] * 300), np.round(off * 8)))[known]
        known = known[np.sort(np.unique(spots, axis=0, return_index=True)[1])]
    half = assessment.readings.density_u * COVERAGE_95 / 1000
    along, low, high = 100 * values[:, known]
    return _Points(
        cut=known.astype(np.int64),
        code=codes[known],
        along=along,
        low=low,
        high=high,
        read=read[known] / 1000,
        half=half[known],
        off=off[known],
        apart=int((drawable & apart).sum()),
    )


def _draw(figure: Figure, assessment: Assessment, curve: Curve, points: _Points) -> None:
    projected = len(assessment.components) > 2
    upper = figure.add_axes((0.085, 0.155, 0.895, 0.825) if projected else (0.085, 0.455, 0.895, 0.525))
    frames = [upper]
    _lines(upper, curve, curve.density * 0, 1000.0)
    _marks(upper, points, points.read, points.half, projected=projected)
    pair = f"wt% {curve.component}"
    if projected:  # off the line is where the other components put the readings, so nothing is learnt from how far
        others = [name for name in assessment.components if name not in {curve.component, curve.other}]
        pair += f" of the pair with {curve.other}; {', '.join(others)} left out of the axis"
    else:
        frames.append(figure.add_axes((0.085, 0.155, 0.895, 0.245), sharex=upper))
        _lines(frames[1], curve, curve.density, 1.0)
        _marks(frames[1], points, points.off, 1000 * points.half, projected=False)
        frames[1].set_ylabel("off the model,\nmg/mL")
        frames[1].yaxis.set_label_coords(-0.055, 0.5)
        upper.tick_params(labelbottom=False)
    for axes in frames:
        axes.grid(color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
    upper.set_xlim(-2, 102)
    upper.set_ylabel(f"density at {curve.temperature - ZERO_CELSIUS:.1f} °C, g/mL")
    frames[-1].set_xlabel(shorten(pair, 120))
    _notes(upper, assessment, points)
    if points.cut.size:
        _names(upper, assessment, points, rising=bool(curve.density[-1] > curve.density[0]))
    handles, labels = upper.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=7, fontsize=7.8, borderaxespad=0.2,
        columnspacing=1.4,
    )  # fmt: skip


def _lines(axes: Axes, curve: Curve, base: Array, divisor: float) -> None:
    """Model with band and the straight line, less ``base``, in the unit that ``divisor`` makes of kg/m3."""
    percent = 100 * curve.fraction
    middle, half = (curve.density - base) / divisor, curve.density_u * COVERAGE_95 / divisor
    axes.fill_between(
        percent, middle - half, middle + half, color=_LINE, alpha=0.18, linewidth=0, label="its 95 % band"
    )
    axes.plot(percent, middle, color=_LINE, linewidth=1.5, label="model")
    axes.plot(
        percent, (curve.straight_density - base) / divisor, color=INK, linewidth=1.0, linestyle=(0, (5, 3)),
        label="volumes adding, handbook values",
    )  # fmt: skip


def _marks(axes: Axes, points: _Points, heights: Array, half: Array, *, projected: bool) -> None:
    few = points.cut.size <= _BARRED
    for code in np.unique(points.code):
        mark, mine = MARKS[DECISIONS[code]], points.code == code
        place, height = points.along[mine], heights[mine]
        if few:
            axes.vlines(place, height - half[mine], height + half[mine], color=mark.colour, linewidth=0.9, zorder=3)
            axes.hlines(height, points.low[mine], points.high[mine], color=mark.colour, linewidth=0.9, zorder=3)
        axes.plot(
            place, height, linestyle="", marker=mark.marker, markersize=5 if few else 2.5,
            markerfacecolor="white" if projected else mark.colour,
            markeredgecolor=mark.colour if projected or not few else INK, markeredgewidth=1.0 if projected else 0.5,
            zorder=4, label=mark.word,
        )  # fmt: skip


def _notes(axes: Axes, assessment: Assessment, points: _Points) -> None:
    """Say what is not drawn: readings too far from the pair, or no reading at all."""
    read = int(np.isfinite(assessment.readings.density).sum())
    if not read:
        axes.text(0.5, 0.1, "no density was read", transform=axes.transAxes, ha="center")
    elif points.apart:
        note = f"{points.apart} of {read} readings left out: over {100 * (1 - _PAIR):.0f} wt% of other components"
        axes.text(0.995, 0.015, note, transform=axes.transAxes, ha="right", va="bottom", fontsize=7, color=FAINT)


def _names(axes: Axes, assessment: Assessment, points: _Points, *, rising: bool) -> None:
    """Names beside the marks, on the side where the line is not; those left out whose place is taken."""
    if points.cut.size > thin.MAX_DRAWN:
        return
    order = np.argsort(points.along, kind="stable")
    low, high = axes.get_xlim()
    scale = 72 * SIZE[0] * axes.get_position().width / (high - low)
    chosen = order[thin.spaced(points.along[order] * scale, 30.0)][:_NAMED]
    for place in chosen:
        right = points.along[place] <= 85
        axes.annotate(
            shorten(assessment.cuts[points.cut[place]].name, 10), (points.along[place], points.read[place]),
            xytext=(6 if right else -6, -9 if right == rising else 4), textcoords="offset points",
            ha="left" if right else "right", fontsize=7.2, zorder=5,
        )  # fmt: skip
