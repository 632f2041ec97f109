"""Most mass that can be kept at each assay, for one target, as SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import MARKS, shorten
from fractionkit.quantities import format_typed, mass_scale
from fractionkit.release.model import Frontier

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SIZE = (7.2, 3.0)


def frontier_chart(frontier: Frontier, key: str = "frontier") -> str:
    """Draw kept mass (g or kg) against the assay that it is guaranteed to have (wt%).

    Parameters
    ----------
    frontier : Frontier
        assay (m,) mass fractions, mass (m,) kg.
    key : str
        Unique in the page.

    """
    unit, factor = mass_scale(float(frontier.mass.max()))
    assay, mass = 100 * frontier.assay, factor * frontier.mass
    order = np.argsort(assay)
    assay, mass = assay[order], mass[order]
    name = shorten(frontier.target, 40)

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0.09, 0.17, 0.89, 0.78))
        axes.grid(color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
        axes.plot(assay, mass, color=MARKS["keep"].colour, linewidth=1.8, marker="o", markersize=3)
        axes.set_ylim(0, max(1.08 * float(mass.max()), 1e-9))
        if frontier.purity is not None:
            axes.axvline(100 * frontier.purity, color=INK, linewidth=0.8, linestyle=(0, (4, 3)))
            axes.annotate(
                f"asked for: {format_typed(frontier.purity)}", (100 * frontier.purity, axes.get_ylim()[1]),
                xytext=(-4, -3), textcoords="offset points", ha="right", va="top", color=FAINT,
            )  # fmt: skip
        axes.set_xlabel(f"wt% {name}, met with a probability of {format_typed(frontier.confidence, '%')}")
        axes.set_ylabel(f"most mass, {unit}")

    low, high = float(assay[0]), float(assay[-1])
    text = f"From {low:.5g} wt% ({mass[0]:.4g} {unit}) to {high:.5g} wt% ({mass[-1]:.4g} {unit})."
    return picture(key, f"Mass kept against assay of {name}", text, SIZE, draw)
