"""The run so far against its plan: head temperature along the mass collected, and the next change of receivers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fractionkit.figures.canvas import GRID, INK, picture
from fractionkit.figures.labels import MARKS, ZERO_CELSIUS
from fractionkit.planning.during.model import Change, During
from fractionkit.quantities import format_mass, mass_scale
from fractionkit.quantities.rounding import HEAVY

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fractionkit.planning.during.follow import Started

SIZE = (8.4, 4.2)
POINTS = 240
_PLAN, _CHANGE = MARKS["recycle"].colour, MARKS["keep"].colour


def during_chart(found: During, plan: Started) -> str:
    """Draw the head temperatures that the plan expects with a 95 % band, those read, and where to change receivers.

    Parameters
    ----------
    found
        Where the distillation stands.
    plan
        The scenarios of its plan, distilled.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    last = found.readings[-1]
    words = f"The head read {last.head - ZERO_CELSIUS:.1f} °C at {_mass(last.collected)} collected"
    change = found.change
    if change is not None and change.what != "none":
        words += f"; {change.what} at {_mass(change.collected.estimate)}"
    return picture(
        "during", "The run so far and its plan", f"{words}.", SIZE, lambda figure: _draw(figure, found, plan)
    )


def _mass(kg: float) -> str:
    return format_mass(kg) if kg >= HEAVY else f"{1000 * kg:.0f} g"


def _draw(figure: Figure, found: During, plan: Started) -> None:
    axes = figure.add_axes((0.085, 0.24, 0.895, 0.73))
    end = max(float(np.median(plan.curve.end)), found.readings[-1].collected)
    unit, factor = mass_scale(end)
    mass = np.linspace(0.0, end, POINTS)
    heads = plan.curve.head_at(np.broadcast_to(mass, (plan.curve.scenarios, POINTS))) - ZERO_CELSIUS
    heads = heads + plan.scenarios.reading[:, None]
    low, middle, high = np.quantile(heads, (0.025, 0.5, 0.975), axis=0, method="weibull")
    axes.fill_between(factor * mass, low, high, color=_PLAN, alpha=0.22, linewidth=0, label="plan, 95 % of scenarios")
    axes.plot(factor * mass, middle, color=_PLAN, linewidth=1.2, label="plan, middle")
    if found.since > 0.0:
        axes.axvline(
            factor * found.since, color=INK, linewidth=0.9, linestyle=(0, (5, 3)), label="this receiver set under"
        )
    _change(axes, found.change, factor)
    axes.plot(
        [factor * reading.collected for reading in found.readings],
        [reading.head - ZERO_CELSIUS for reading in found.readings],
        linestyle="none", marker="o", markersize=5, color=INK, label="head, read", clip_on=False, zorder=5,
    )  # fmt: skip
    axes.grid(axis="y", color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_xlim(0.0, factor * end)
    axes.set_xlabel(f"mass collected, {unit}")
    axes.set_ylabel("head temperature, °C")
    figure.legend(
        loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=3, fontsize=7.8, borderaxespad=0.2, columnspacing=1.4
    )


def _change(axes: Axes, change: Change | None, factor: float) -> None:
    """Where the next change is due: a cross of its two 95 % intervals."""
    if change is None or change.what == "none":
        return
    x, y = (
        [scale * part - offset for part in (made.estimate, made.low, made.high)]
        for made, scale, offset in ((change.collected, factor, 0.0), (change.head, 1.0, ZERO_CELSIUS))
    )
    axes.axvspan(x[1], x[2], color=_CHANGE, alpha=0.15, linewidth=0)
    axes.errorbar(
        [x[0]], [y[0]], xerr=[[x[0] - x[1]], [x[2] - x[0]]], yerr=[[max(y[0] - y[1], 0)], [max(y[2] - y[0], 0)]],
        fmt="D", markersize=5.5, color=_CHANGE, elinewidth=1.0, capsize=2.5, label=change.what, zorder=4,
    )  # fmt: skip
