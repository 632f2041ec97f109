"""Kept mass against assay: what asking for a purer product costs, for several set-ups."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import plain, short_names, shorten
from fractionkit.planning.cutting.model import Frontier
from fractionkit.quantities import format_typed, mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 4.1)
MOST_CURVES = 8
# palette of Okabe and Ito (2008); the line style tells curves apart without colour
COLOURS = ("#009E73", "#0072B2", "#D55E00", "#CC79A7", "#56B4E9", "#E69F00", "#666666", INK)
STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)), (0, (1, 1)), (0, (9, 2)), (0, (3, 3)), (0, (5, 1, 1, 1)))
TICKS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.998, 0.999, 0.9995, 0.9999)
PUREST = 0.9999
"""Assay at which the axis ends: no density or boiling point tells more."""

NOTHING = 1e-4
"""Part of the largest mass below which a curve is at its end."""


def tradeoff_chart(curves: Sequence[tuple[str, Frontier]], target: str, purity: float) -> str:
    """Draw the most that may be kept at every assay, one line a set-up, and for the first what scenarios would give.

    Parameters
    ----------
    curves : sequence of (str, Frontier)
        Names and curves, the first is the one that is shown with its band; more than `MOST_CURVES` are left out.
    target : str
        Component that the assay is of.
    purity : number
        Assay asked for.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    shown = list(curves)[:MOST_CURVES]
    names = ", ".join(plain(name) for name, _ in shown)
    words = f"Most mass of {plain(target)} that can be kept against the assay asked for, with {names}."
    return picture(
        "tradeoff", "Kept mass against assay", words, SIZE, lambda figure: _draw(figure, shown, target, purity)
    )


def stretched(assay: Array) -> Array:
    """Place of an assay along the axis: equal steps where what is not the target shrinks by equal factors."""
    return np.asarray(-np.log10(1.0 - np.minimum(assay, 1.0 - 1e-9)), dtype=np.float64)


def _draw(figure: Figure, curves: list[tuple[str, Frontier]], target: str, purity: float) -> None:
    axes = figure.add_axes((0.085, 0.235, 0.895, 0.715))
    largest = max((float(curve.high.max()) for _, curve in curves[:1]), default=0.0)
    largest = max([largest, *(float(curve.guarded.max()) for _, curve in curves)])
    unit, factor = mass_scale(largest)
    ends = []
    for place, (name, (_, curve)) in enumerate(zip(short_names([name for name, _ in curves], 24), curves, strict=True)):
        alive = curve.guarded > NOTHING * largest
        last = int(np.flatnonzero(alive)[-1]) + 1 if alive.any() else 0
        x = stretched(curve.purity)
        if place == 0:
            axes.fill_between(
                x, factor * curve.low, factor * curve.high, color=COLOURS[0], alpha=0.15, linewidth=0,
                label=f"{name}, 95 % of scenarios",
            )  # fmt: skip
        axes.plot(
            x[:last], factor * curve.guarded[:last], color=COLOURS[place], linestyle=STYLES[place],
            linewidth=1.8 if place == 0 else 1.4, label=name if last else f"{name}: nothing",
        )  # fmt: skip
        if last:
            ends.append(float(x[last - 1]))
    left = min((float(stretched(curve.purity)[0]) for _, curve in curves), default=0.0)
    # not so far that a close-up of nothing is drawn, but beyond the target
    right = min(max([*ends, float(stretched(np.array(purity))) + 0.3]) + 0.05, float(stretched(np.array(PUREST))))
    _frame(axes, left, right, target, unit, factor * largest)
    _target(axes, purity, right)
    if curves:
        figure.legend(
        loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=3, fontsize=7.8, borderaxespad=0.2, columnspacing=1.6,
        handlelength=3.2,
    )  # fmt: skip


def _frame(axes: Axes, left: float, right: float, target: str, unit: str, top: float) -> None:
    places = stretched(np.array(TICKS))
    axes.set_xlim(left, right)
    inside = (places >= left - 1e-9) & (places <= right + 1e-9)
    # two ticks closer than a twentieth of the axis would run into each other
    chosen: list[int] = []
    for k in np.flatnonzero(inside):
        if not chosen or places[k] - places[chosen[-1]] > 0.05 * (right - left):
            chosen.append(int(k))
    axes.set_xticks(places[chosen], [f"{100 * TICKS[k]:g}" for k in chosen])
    axes.set_xlabel(
        f"assay asked for, wt% {shorten(target, 30)} (what is not {shorten(target, 20)} on a logarithmic scale)"
    )
    axes.set_ylabel(f"kept, {unit}")
    axes.set_ylim(0.0, 1.06 * max(top, 1e-9))
    axes.grid(color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)


def _target(axes: Axes, purity: float, right: float) -> None:
    x = float(stretched(np.array(purity)))
    if x > right:
        return
    axes.axvline(x, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=1.5)
    low, high = axes.get_xlim()
    before = x > 0.5 * (low + high)
    axes.annotate(
        f"target {format_typed(purity)}", (x, 0.985), xycoords=("data", "axes fraction"), color=FAINT, fontsize=7.4,
        xytext=(-4 if before else 4, 0), textcoords="offset points", ha="right" if before else "left", va="top",
    )  # fmt: skip
