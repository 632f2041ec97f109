"""What is in each receiver of a plan: width is mass, stacked bands are components."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.canvas import FAINT, INK, picture
from fractionkit.figures.labels import DECISIONS, MARKS, plain, short_names
from fractionkit.lots.decide import Decision
from fractionkit.planning.cutting.model import CutPlan
from fractionkit.quantities import mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 3.5)
# light tints of the palette of Okabe and Ito (2008), so that ink stays readable on them; hatches tell them apart too
COLOURS = ("#8CC5E3", "#F2C57C", "#8FD3BD", "#E3B5CF", "#C9CFD3")
HATCHES = ("", "////", "....", "xxxx", "||||")
_NAMED = 0.055  # part of the width from which a share is written into its band
_HIGH = 9.0  # wt% from which a band has room for a figure


def receivers_chart(plan: CutPlan) -> str:
    """Draw mean composition of the receivers, and of what is left in pot and column, as stacked bands.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    mass, w, names, decisions = _columns(plan)
    unit, factor = mass_scale(float(mass.sum()))
    told = []
    for name, m, row in zip(names, mass, w, strict=True):
        shares = ", ".join(f"{100 * part:.0f} wt% {plain(c)}" for part, c in zip(row, plan.names, strict=True))
        told.append(f"{name} {factor * m:.{0 if unit == 'g' else 1}f} {unit}, {shares}")
    return picture(
        "receivers", "What is in each receiver", f"Mean of the scenarios. {'; '.join(told)}.", SIZE,
        lambda figure: _draw(figure, plan, mass, w, names, decisions),
    )  # fmt: skip


def _columns(plan: CutPlan) -> tuple[Array, Array, list[str], list[str]]:
    """Mean mass (C,), mass fractions (C, n), name and decision of receivers that hold something, and of the rest."""
    kept = [r for r in plan.receivers if float(r.mass.mean()) > 0.0]
    amounts = [(r.mass[:, None] * r.w).mean(axis=0) for r in kept]
    names, decisions = [r.name for r in kept], [str(r.decision) for r in kept]
    if float(plan.left.sum()) > 0.0:
        amounts.append(plan.left)
        names.append("pot")
        decisions.append("left")
    stacked = np.array(amounts).reshape(-1, len(plan.names))
    mass = stacked.sum(axis=1)
    return mass, stacked / np.maximum(mass, 1e-300)[:, None], names, decisions


def _draw(figure: Figure, plan: CutPlan, mass: Array, w: Array, names: list[str], decisions: list[str]) -> None:
    axes = figure.add_axes((0.075, 0.25, 0.905, 0.58))
    unit, factor = mass_scale(float(mass.sum()))
    edges = np.concatenate([[0.0], np.cumsum(factor * mass)])
    axes.set_xlim(0.0, edges[-1])
    axes.set_ylim(0.0, 100.0)
    axes.set_xlabel(f"mass, {unit}")
    axes.set_ylabel("composition, wt%")
    bottom = np.zeros(len(mass))
    for place, name in enumerate(short_names(plan.names, 28)):
        part = 100.0 * w[:, place]
        axes.bar(
            edges[:-1], part, width=np.diff(edges), bottom=bottom, align="edge", color=COLOURS[place % len(COLOURS)],
            edgecolor="white", linewidth=0.0, hatch=HATCHES[place % len(HATCHES)], label=name,
        )  # fmt: skip
        _shares(axes, edges, bottom, part)
        bottom = bottom + part
    _borders(axes, edges, names, decisions)
    axes.legend(
        *axes.get_legend_handles_labels(), loc="upper left", bbox_to_anchor=(-0.01, -0.2), ncols=5, fontsize=7.8,
        borderaxespad=0.2, columnspacing=1.6,
    )  # fmt: skip


def _shares(axes: Axes, edges: Array, bottom: Array, part: Array) -> None:
    wide = np.diff(edges) > _NAMED * edges[-1]
    for k in np.flatnonzero(wide & (part > _HIGH)):
        text = f"{part[k]:.0f}" if part[k] < 99.0 else f"{min(part[k], 99.9):.1f}"
        middle = 0.5 * (edges[k] + edges[k + 1])
        axes.text(
            middle, bottom[k] + 0.5 * part[k], text, ha="center", va="center", fontsize=8,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.75},
        )  # fmt: skip


def _borders(axes: Axes, edges: Array, names: list[str], decisions: list[str]) -> None:
    """A line between receivers; name and decision above each, where there is room for them."""
    axes.vlines(edges[1:-1], 0.0, 100.0, color=INK, linewidth=0.9)
    frame = axes.get_xaxis_transform()
    last = -np.inf
    for k, (name, decision) in enumerate(zip(names, decisions, strict=True)):
        part = (edges[k + 1] - edges[k]) / edges[-1]
        middle = 0.5 * (edges[k] + edges[k + 1])
        if (middle - last) / edges[-1] > 0.03:
            bold = "bold" if decision == "keep" else "normal"
            axes.text(middle, 1.09, name, transform=frame, ha="center", va="bottom", fontsize=8, fontweight=bold)
            last = middle
        if part > 0.012:
            _flag(axes, edges[k], edges[k + 1], decision)
        if part > 0.075:
            word = "left" if decision == "left" else MARKS[_mark(decision)].word
            axes.text(middle, 1.17, word, transform=frame, ha="center", va="bottom", fontsize=7.5, color=FAINT)


def _flag(axes: Axes, start: float, end: float, decision: str) -> None:
    """A strip above the receiver in the colour and hatch of its decision."""
    frame = axes.get_xaxis_transform()
    mark = None if decision == "left" else MARKS[_mark(decision)]
    colour = FAINT if mark is None else mark.colour
    filled = mark is not None and not mark.hatch
    axes.broken_barh(
        [(start, end - start)], (1.02, 0.055), transform=frame, facecolor=colour if filled else "white",
        edgecolor=colour, hatch="" if mark is None else mark.hatch, linewidth=0.6, clip_on=False,
    )  # fmt: skip


def _mark(decision: str) -> Decision:
    return next(known for known in DECISIONS if known == decision)
