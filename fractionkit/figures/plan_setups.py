"""Set-ups compared: what each keeps, with its interval, and the time it takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import MARKS, plain, shorten
from fractionkit.planning.model import Plan, Trial
from fractionkit.quantities import Estimate, format_typed, mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 8.4
MOST_ROWS = 40
_ROW = 0.2  # inches


def setups_chart(plan: Plan) -> str:
    """Draw one row a set-up and reflux ratio, best first: kilograms kept on the left, hours on the right.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    rows = _rows(plan)
    able = sum(trial.reaches for trial in plan.trials)
    words = (
        f"Mass kept at the target and time taken by {len(rows)} set-ups; {able} of {len(plan.trials)} reach the target. "
        "The table of set-ups holds the same numbers."
    )
    size = (WIDTH, round(_ROW * len(rows) + 0.95, 2))
    return picture("setups", "Set-ups compared", words, size, lambda figure: _draw(figure, plan, rows))


def _rows(plan: Plan) -> list[Trial]:
    return [trial for trial in plan.trials if trial.cuts is not None][:MOST_ROWS]


def _draw(figure: Figure, plan: Plan, rows: list[Trial]) -> None:
    height = figure.get_size_inches()[1]
    timed = any(trial.costs is not None and trial.costs.time is not None for trial in rows)
    frame = (0.55 / height, 1.0 - 0.85 / height)
    kept = figure.add_axes((0.255, frame[0], 0.455 if timed else 0.72, frame[1]))
    unit, factor = mass_scale(max((trial.kept.high for trial in rows if trial.kept is not None), default=0.0))
    _panel(kept, [trial.kept for trial in rows], factor, MARKS["keep"].colour, "o")
    kept.set_xlabel(f"kept at {format_typed(plan.purity)} {shorten(plan.target, 24)}, {unit}", labelpad=2)
    names = [
        shorten(trial.setup.name, 26) + (f", R {trial.reflux:g}" if trial.setup.stages > 1.0 else "") for trial in rows
    ]
    kept.set_yticks(range(len(rows)), [plain(name) for name in names], fontsize=7.8)
    for place, trial in enumerate(rows):
        if not trial.reaches:
            limit = "" if trial.limit is None else f": at most {100 * trial.limit:.4g} wt%"
            text = "comes later" if "comes later" in trial.impossible else f"not reached{limit}"
            kept.annotate(
                text, (0.0, place), xytext=(8, 0), textcoords="offset points", va="center", fontsize=7.2, color=FAINT,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip
    if timed:
        time = figure.add_axes((0.74, frame[0], 0.24, frame[1]), sharey=kept)
        _panel(
            time, [trial.costs.time if trial.costs and trial.reaches else None for trial in rows], 1 / 3600, INK, "D"
        )
        time.set_xlabel("time until it is in the receiver, h", labelpad=2)
        time.tick_params(labelleft=False)
    figure.text(0.98, 0.0, "95 % intervals", ha="right", va="bottom", fontsize=7, color=FAINT)


def _panel(axes: Axes, made: list[Estimate | None], factor: float, colour: str, marker: str) -> None:
    """Marks and bars, one row an estimate."""
    known = [(row, part) for row, part in enumerate(made) if part is not None]
    rows = np.array([row for row, _ in known], dtype=np.float64)
    middle, low, high = (
        factor * np.array([getattr(part, name) for _, part in known], dtype=np.float64)
        for name in ("estimate", "low", "high")
    )
    axes.set_ylim(len(made) - 0.4, -0.6)
    axes.hlines(
        np.arange(len(made)), 0.0, 1.0, transform=axes.get_yaxis_transform(), color=GRID, linewidth=0.5, zorder=0.5
    )
    axes.hlines(rows, low, high, color=colour, linewidth=2.2, zorder=2)
    axes.plot(
        middle, rows, linestyle="", marker=marker, markersize=4.4, markerfacecolor=colour, markeredgecolor=INK,
        markeredgewidth=0.5, zorder=3,
    )  # fmt: skip
    axes.set_xlim(left=0.0, right=1.06 * float(high.max(initial=1e-9)))
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
