"""The run chart: head temperature along the mass collected, cuts as bands by decision."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Assessment
from fractionkit.figures import thin
from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import DECISIONS, MARKS, ZERO_CELSIUS, plain, short_names, shorten
from fractionkit.quantities import mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SIZE = (8.4, 3.9)
_SIGN = 5.2  # width of one sign of a label in units of the picture, near enough to decide whether it fits
_NAMED_LINES = 60  # up to here each cut gets its border and its dots


def run_chart(assessment: Assessment) -> str:
    """Draw the run chart.

    Parameters
    ----------
    assessment : Assessment
        Where the mass of a cut is unknown, the cuts stand side by side at equal width and the axis says so.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    edges, axis = _edges(assessment)
    words = _describe(assessment)
    return picture("run", "Run chart", words, SIZE, lambda figure: _draw(figure, assessment, edges, axis))


def _edges(assessment: Assessment) -> tuple[Array, str]:
    """Borders of the cuts (K + 1,) along the axis, and what the axis is: mass collected, or the number of the cut."""
    mass = np.asarray(assessment.readings.mass, dtype=np.float64)
    if mass.size and np.isfinite(mass).all() and (mass >= 0).all() and mass.sum() > 0:
        unit, factor = mass_scale(mass.sum())
        return np.concatenate(([0.0], np.cumsum(mass))) * factor, f"mass collected, {unit}"
    numbers = np.arange(len(assessment.cuts) + 1, dtype=np.float64) + 0.5
    return numbers, "cut number (equal widths: not every mass is known)"


def _codes(assessment: Assessment) -> Index:
    place = {decision: code for code, decision in enumerate(DECISIONS)}
    return np.array([place[cut.decision] for cut in assessment.cuts], dtype=np.int64)


def _describe(assessment: Assessment) -> str:
    heads = np.concatenate((assessment.readings.head_start, assessment.readings.head_end))
    known = heads[np.isfinite(heads)] - ZERO_CELSIUS
    span = f"from {known.min():.1f} to {known.max():.1f} °C" if known.size else "not recorded"
    counts = [(word, sum(cut.decision == word for cut in assessment.cuts)) for word in DECISIONS]
    told = (
        "nothing is decided" if assessment.at_odds else ", ".join(f"{count} {word}" for word, count in counts if count)
    )
    return f"Head temperature, {span}, along the mass collected in {len(assessment.cuts)} cuts: {told}."


def _draw(figure: Figure, assessment: Assessment, edges: Array, axis: str) -> None:
    axes = figure.add_axes((0.075, 0.2, 0.905, 0.62))
    count = len(assessment.cuts)
    axes.set_xlim(edges[0], edges[-1] if count else edges[0] + 1.0)
    axes.set_xlabel(axis)
    if axis.startswith("cut"):
        axes.locator_params(axis="x", integer=True)
    axes.set_ylabel("head temperature, °C")
    axes.grid(axis="y", color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    if not count:
        return
    _head(axes, assessment, edges)
    _boiling_points(axes, assessment)
    if count <= _NAMED_LINES:
        axes.vlines(edges[1:-1], 0, 1, transform=axes.get_xaxis_transform(), color=FAINT, linewidth=0.4)
    _names(axes, assessment, edges)
    if not assessment.at_odds:  # nothing is decided then
        _legend(figure, _bands(axes, edges, _codes(assessment)))


def _bands(axes: Axes, edges: Array, codes: Index) -> list[int]:
    """Bands of equal decision, with the word in those that are wide enough; returns the codes present."""
    if codes.size > thin.MAX_DRAWN:
        starts = thin.bin_starts(codes.size)
        codes = thin.commonest(codes, len(DECISIONS), starts)
        edges = np.concatenate((edges[starts], edges[-1:]))
    first, after = thin.runs(codes)
    left, right, kinds = edges[first], edges[after], codes[first]
    present = [int(code) for code in np.unique(kinds)]
    for code in present:
        mark, mine = MARKS[DECISIONS[code]], kinds == code
        spans = list(zip(left[mine].tolist(), (right[mine] - left[mine]).tolist(), strict=True))
        frame = axes.get_xaxis_transform()
        axes.broken_barh(spans, (0, 1), transform=frame, facecolor=mark.colour, alpha=0.13, linewidth=0, zorder=0.2)
        axes.broken_barh(
            spans, (0, 0.055), transform=frame, facecolor="white", edgecolor=mark.colour, linewidth=0, zorder=2.1
        )
        axes.broken_barh(
            spans,
            (0, 0.055),
            transform=frame,
            facecolor=mark.colour if not mark.hatch else "none",
            edgecolor=mark.colour,
            hatch=mark.hatch,
            linewidth=0.6,
            zorder=2.2,
        )
    _words(axes, left, right, kinds)
    return present


def _words(axes: Axes, left: Array, right: Array, kinds: Index) -> None:
    scale = _units(axes)
    wide = np.flatnonzero((right - left) * scale > 46)
    for run in wide[:40]:
        word = MARKS[DECISIONS[kinds[run]]].word
        middle = (left[run] + right[run]) / 2
        axes.text(
            middle, 0.075, word, transform=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=8,
            fontweight="bold", zorder=4,
        )  # fmt: skip


def _units(axes: Axes) -> float:
    """Units of the picture to one unit of the horizontal axis."""
    low, high = axes.get_xlim()
    return float(72 * SIZE[0] * axes.get_position().width / (high - low))


def _head(axes: Axes, assessment: Assessment, edges: Array) -> None:
    """The line from each cut's first to its last head temperature; an envelope where cuts are too many to draw."""
    start = np.asarray(assessment.readings.head_start) - ZERO_CELSIUS
    end = np.asarray(assessment.readings.head_end) - ZERO_CELSIUS
    if not (np.isfinite(start).any() or np.isfinite(end).any()):
        axes.set_yticks([])
        axes.text(0.5, 0.5, "no head temperature was recorded", transform=axes.transAxes, ha="center")
        return
    if start.size > thin.MAX_DRAWN:
        bins = thin.bin_starts(start.size)
        low, high = thin.lowest(np.fmin(start, end), bins), thin.highest(np.fmax(start, end), bins)
        middle = (edges[:-1] + edges[1:])[bins] / 2
        axes.fill_between(middle, low, high, color=INK, alpha=0.3, linewidth=0, zorder=3)
        axes.plot(middle, thin.middle((start + end) / 2, bins), color=INK, linewidth=1.0, zorder=3.1)
    else:
        place = np.column_stack((edges[:-1], edges[1:])).ravel()
        head = np.column_stack((start, end)).ravel()
        known = np.isfinite(head)
        dots = "o" if start.size <= _NAMED_LINES else ""
        axes.plot(place[known], head[known], color=INK, linewidth=0.5, alpha=0.55, linestyle=(0, (2, 2)), zorder=3)
        axes.plot(place, head, color=INK, linewidth=1.6, zorder=3.1, marker=dots, markersize=2.6)
    low_y, high_y = axes.get_ylim()
    reach = max(high_y - low_y, 0.5)
    axes.set_ylim(low_y - 0.22 * reach, high_y + 0.06 * reach)


def _boiling_points(axes: Axes, assessment: Assessment) -> None:
    """Dotted lines where the pure components of the pair boil at the run's pressure, if near what is shown."""
    curve = assessment.curve
    if curve is None or not curve.bubble.size:
        return
    low, high = axes.get_ylim()
    reach = high - low
    names = short_names((curve.other, curve.component), 26)
    rising = float(curve.bubble[-1]) > float(curve.bubble[0])
    for name, end, whole in ((names[0], 0, 0.0), (names[1], -1, 1.0)):
        left = rising == (end == -1)  # the head starts low on the left, so there the upper line is free
        boils = float(curve.bubble[end]) - ZERO_CELSIUS
        if not (abs(float(curve.fraction[end]) - whole) < 1e-6 and low < boils < high + 0.5 * reach):
            continue
        axes.axhline(boils, color=FAINT, linewidth=0.9, linestyle=":", zorder=1)
        axes.text(
            0.006 if left else 0.994, boils, f"pure {name} boils", transform=axes.get_yaxis_transform(), fontsize=7,
            ha="left" if left else "right", va="bottom", color=INK, zorder=4,
        )  # fmt: skip
        axes.set_ylim(top=max(axes.get_ylim()[1], boils + 0.1 * reach))


def _names(axes: Axes, assessment: Assessment, edges: Array) -> None:
    """Names of the cuts above the bands, upright where they do not fit side by side, thinned where they are many."""
    scale = _units(axes)
    middle = (edges[:-1] + edges[1:]) / 2
    width = np.diff(edges) * scale
    if middle.size <= _NAMED_LINES:
        names = [shorten(cut.name, 18) for cut in assessment.cuts]
        fits = bool((np.array([len(name) for name in names]) * _SIGN + 4 < width).all())
    else:
        names, fits = [], False
    if fits:  # names in one line need less room above
        axes.set_position((0.075, 0.2, 0.905, 0.71))
    chosen = np.arange(middle.size) if fits else thin.spaced(middle * scale, 10.5)
    for cut in chosen:
        name = names[cut] if names else assessment.cuts[cut].name
        axes.text(
            middle[cut], 1.02, name if fits else shorten(name, 8), transform=axes.get_xaxis_transform(),
            rotation=0 if fits else 90, ha="center", va="bottom", fontsize=7.5,
        )  # fmt: skip
    if chosen.size < middle.size:
        note = f"{chosen.size} of {middle.size} names shown"
        axes.figure.text(0.98, 0.985, plain(note), ha="right", va="top", fontsize=7, color=FAINT)


def _legend(figure: Figure, present: list[int]) -> None:
    from matplotlib.patches import Patch

    handles = [
        Patch(
            facecolor=mark.colour if not mark.hatch else "white",
            edgecolor=mark.colour,
            hatch=mark.hatch,
            label=mark.word,
        )
        for mark in (MARKS[DECISIONS[code]] for code in present)
    ]
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.065, 0.0), ncols=4, fontsize=8, handlelength=2.2,
        handleheight=1.1, borderaxespad=0.2,
    )  # fmt: skip
