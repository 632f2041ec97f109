"""Composition of each cut: one panel a component, one row a cut, a mark for the estimate and a bar for its interval."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Assessment
from fractionkit.figures import thin
from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import DECISIONS, MARKS, short_names, shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

WIDTH = 8.4
_ACROSS = 4  # panels side by side
_ROW = 0.165  # inches a cut
_TALLEST = 7.0  # inches of one panel; beyond it, rows draw together and names are thinned
_TOP, _BOTTOM, _LEFT, _RIGHT, _GAP = 0.34, 0.72, 0.95, 0.25, 0.28


def composition_chart(assessment: Assessment) -> str:
    """Draw the estimate and the 95 % interval of every component in every cut, in the order of the run.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    rows = math.ceil(len(_panels(assessment)) / _ACROSS)
    panel = min(max(_ROW * len(assessment.cuts), 0.5), _TALLEST)
    size = (WIDTH, round(rows * (panel + _TOP + 0.42) + _BOTTOM - 0.42, 3))
    words = (
        f"Mass fractions of {', '.join(assessment.components)} in {len(assessment.cuts)} cuts, "
        "each with its 95 % interval. The table of cuts holds the same numbers."
    )
    return picture(
        "composition", "Composition of each cut", words, size, lambda figure: _draw(figure, assessment, panel)
    )


def _values(assessment: Assessment, component: str) -> Array:
    """(3, K) estimate, low and high in wt%."""
    triples = [(made.estimate, made.low, made.high) for made in (cut.composition[component] for cut in assessment.cuts)]
    return 100.0 * np.array(triples, dtype=np.float64).reshape(-1, 3).T


def _panels(assessment: Assessment) -> list[tuple[str, float]]:
    """Component and lower end of the axis in wt% of each panel: the whole range, then the target seen close."""
    panels = [(component, 0.0) for component in assessment.components]
    if assessment.target in assessment.components and (assessment.purity or 0.0) >= 0.9:
        least = 100.0 - max(math.ceil(400 * (1 - (assessment.purity or 0.0))), 0.2)
        if (_values(assessment, str(assessment.target))[2] > least).any():
            panels.append((str(assessment.target), least))
    return panels


def _draw(figure: Figure, assessment: Assessment, panel: float) -> None:
    width, height = figure.get_size_inches()
    panels = _panels(assessment)
    across = min(len(panels), _ACROSS)
    each = (width - _LEFT - _RIGHT - _GAP * (across - 1)) / across
    titles = dict(zip(assessment.components, short_names(assessment.components, int(each * 12.3)), strict=True))
    codes = np.array([DECISIONS.index(cut.decision) for cut in assessment.cuts], dtype=np.int64)
    for place, (component, least) in enumerate(panels):
        row, column = divmod(place, across)
        left = (_LEFT + column * (each + _GAP)) / width
        bottom = (height - (row + 1) * (panel + _TOP) - row * 0.42) / height
        axes = figure.add_axes((left, bottom, each / width, panel / height))
        title = titles[component] if not least else "target, close up"
        axes.set_title(title, loc="left", fontsize=8.5, fontweight="bold", pad=5)
        _frame(axes, assessment, panel, least, named=column == 0)
        if len(assessment.cuts):
            _panel(axes, _values(assessment, component), codes)
        if component == assessment.target and assessment.purity is not None:
            axes.axvline(100 * assessment.purity, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=1.5)
    _legend(figure, assessment, codes)


def _frame(axes: Axes, assessment: Assessment, panel: float, least: float, *, named: bool) -> None:
    count = len(assessment.cuts)
    reach = 100.0 - least
    axes.set_xlim(least - 0.02 * reach, 100.0 + 0.02 * reach)
    axes.set_xticks([least, least + reach / 2, 100.0])
    axes.set_ylim(count - 0.4, -0.6)
    axes.grid(axis="x", color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines["left"].set_visible(False)
    axes.tick_params(length=0)
    axes.set_xlabel("wt%", labelpad=1)
    if not named:
        axes.set_yticks([])
        return
    rows = thin.spaced(np.arange(count, dtype=np.float64), count * 0.14 / panel)
    axes.set_yticks(rows.tolist(), [shorten(assessment.cuts[row].name, 13) for row in rows], fontsize=7.5)


def _panel(axes: Axes, values: Array, codes: NDArray[np.int64]) -> None:
    """Marks and bars; beyond `thin.MAX_DRAWN` cuts the envelope of the intervals and the mean of the estimates."""
    estimate, low, high = values
    rows = np.arange(estimate.size, dtype=np.float64)
    if estimate.size > thin.MAX_DRAWN:
        bins = thin.bin_starts(estimate.size)
        axes.fill_betweenx(
            rows[bins], thin.lowest(low, bins), thin.highest(high, bins), color=MARKS["recycle"].colour, alpha=0.3
        )
        axes.plot(thin.middle(estimate, bins), rows[bins], color=INK, linewidth=1.0)
        return
    few = estimate.size <= 60
    if few:
        axes.hlines(rows, *axes.get_xlim(), color=GRID, linewidth=0.5, zorder=0.5)
    for code in np.unique(codes):
        mark, mine = MARKS[DECISIONS[code]], codes == code
        axes.hlines(rows[mine], low[mine], high[mine], color=mark.colour, linewidth=2.0 if few else 1.0, zorder=2)
        axes.plot(
            estimate[mine], rows[mine], linestyle="", marker=mark.marker, markersize=4.6 if few else 2.2,
            markerfacecolor=mark.colour, markeredgecolor=INK if few else mark.colour, markeredgewidth=0.5, zorder=3,
        )  # fmt: skip


def _legend(figure: Figure, assessment: Assessment, codes: NDArray[np.int64]) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=mark.colour, marker=mark.marker, markersize=4.6, markeredgecolor=INK, label=mark.word)
        for mark in (MARKS[DECISIONS[code]] for code in np.unique(codes))
    ]
    if assessment.target and assessment.purity is not None:
        text = f"target, {100 * assessment.purity:g} wt%"
        handles.append(Line2D([], [], color=INK, linewidth=0.9, linestyle=(0, (4, 2)), label=text))
    if codes.size > thin.MAX_DRAWN:
        note = f"{codes.size} cuts drawn in groups: span of the 95 % intervals and mean estimate"
        figure.text(0.98, 0.01, note, ha="right", va="bottom", fontsize=7, color=FAINT)
        handles = handles[-1:] if assessment.target else []
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.065, 0.0), ncols=5, fontsize=8, borderaxespad=0.2
    )
