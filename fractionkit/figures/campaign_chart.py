"""A campaign: what is kept and what stands ready after every batch, the recycle's composition, and how many cuts to carry."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.canvas import FAINT, GRID, INK, picture
from fractionkit.figures.labels import MARKS, plain, short_names, shorten
from fractionkit.figures.tradeoff_receivers import COLOURS, HATCHES
from fractionkit.planning.campaign.model import Campaign
from fractionkit.quantities import Estimate, mass_scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

SIZE = (8.4, 5.0)
_KEEP, _RECYCLE = MARKS["keep"], MARKS["recycle"]
_BARS = 60  # up to here every batch of the stack has its own bar


def campaign_chart(campaign: Campaign) -> str:
    """Draw the best policy batch by batch, and the yield of all policies.

    Returns
    -------
    str
        SVG; see `fractionkit.figures.canvas.picture`.

    """
    best = campaign.chosen
    settled = "has not settled" if best.settled is None else f"has settled by batch {best.settled}"
    words = (
        f"Kept mass and recycle in {len(best.batches)} batches with {best.carried} cuts carried; the recycle {settled}. "
        f"Yield of {plain(campaign.target)} with 0 to {campaign.policies[-1].carried} cuts carried. "
        "The tables hold the same numbers."
    )
    return picture("campaign", "Campaign", words, SIZE, lambda figure: _draw(figure, campaign))


def _draw(figure: Figure, campaign: Campaign) -> None:
    best = campaign.chosen
    upper = figure.add_axes((0.085, 0.54, 0.565, 0.42))
    lower = figure.add_axes((0.085, 0.165, 0.565, 0.30), sharex=upper)
    right = figure.add_axes((0.755, 0.165, 0.225, 0.795))
    number = np.array([row.number for row in best.batches], dtype=np.float64)
    unit, factor = mass_scale(max(row.charge.high for row in best.batches))
    _line(upper, number, [row.recycle for row in best.batches], factor, _RECYCLE.colour, "s", "ready for the next")
    _line(upper, number, [row.kept for row in best.batches], factor, _KEEP.colour, "o", "kept")
    fresh = factor * np.array([row.fresh.estimate for row in best.batches])
    upper.plot(number, fresh, color=FAINT, linewidth=1.0, linestyle=(0, (2, 2)), label="fresh feed")
    top = factor * max(max(row.fresh.estimate, row.recycle.high, row.kept.high) for row in best.batches)
    upper.set_ylim(0.0, 1.16 * max(top, 1e-9))
    upper.set_ylabel(f"mass, {unit}")
    upper.set_xlim(0.5, number[-1] + 0.5)
    upper.tick_params(labelbottom=False)
    if best.settled is not None and best.carried:
        _settled(upper, best.settled)
    _composition(lower, campaign, number)
    _yields(right, campaign)
    for axes in (upper, right):
        axes.grid(color=GRID, linewidth=0.6)
        axes.set_axisbelow(True)
    entries = [axes.get_legend_handles_labels() for axes in (upper, lower)]
    shown = {label: handle for handles, labels in entries for handle, label in zip(handles, labels, strict=True)}
    figure.legend(
        list(shown.values()), list(shown), loc="lower left", bbox_to_anchor=(0.075, 0.0), ncols=6, fontsize=7.4,
        borderaxespad=0.2, columnspacing=1.2,
    )  # fmt: skip


def _line(axes: Axes, number: Array, made: list[Estimate], factor: float, colour: str, marker: str, name: str) -> None:
    low, middle, high = (factor * np.array([getattr(row, end) for row in made]) for end in ("low", "estimate", "high"))
    axes.fill_between(number, low, high, color=colour, alpha=0.16, linewidth=0)
    axes.plot(
        number, middle, color=colour, linewidth=1.5, marker=marker if len(number) <= _BARS else "", markersize=4.0,
        markeredgecolor=INK, markeredgewidth=0.4, label=name,
    )  # fmt: skip


def _settled(axes: Axes, batch: int) -> None:
    axes.axvline(batch, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=1.5)
    after = batch < 0.6 * axes.get_xlim()[1]
    axes.annotate(
        f"settled by batch {batch}", (batch, 0.985), xycoords=("data", "axes fraction"), fontsize=7.4, color=FAINT,
        xytext=(4 if after else -4, 0), textcoords="offset points", ha="left" if after else "right", va="top",
    )  # fmt: skip


def _composition(axes: Axes, campaign: Campaign, number: Array) -> None:
    rows = campaign.chosen.batches
    axes.set_ylim(0.0, 100.0)
    axes.set_ylabel("recycle, wt%")
    axes.set_xlabel("batch")
    axes.locator_params(axis="x", integer=True)
    if not any(row.composition for row in rows):
        axes.text(0.5, 0.5, "nothing is carried", transform=axes.transAxes, ha="center", va="center", color=FAINT)
        axes.set_yticks([])
        return
    names = campaign.components
    share = np.array([[row.composition[name].estimate if row.composition else 0.0 for name in names] for row in rows])
    share = 100.0 * share / np.maximum(share.sum(axis=1, keepdims=True), 1e-300)
    bottom = np.zeros(len(rows))
    for place, name in enumerate(short_names(names, 22)):
        axes.bar(
            number, share[:, place], width=0.86 if len(rows) <= _BARS else 1.0, bottom=bottom,
            color=COLOURS[place % len(COLOURS)], edgecolor="white", linewidth=0.0,
            hatch=HATCHES[place % len(HATCHES)], label=name,
        )  # fmt: skip
        bottom = bottom + share[:, place]


def _yields(axes: Axes, campaign: Campaign) -> None:
    """Part of the target fed that is kept in the campaign, against how many cuts are carried."""
    policies = campaign.policies
    carried = np.array([policy.carried for policy in policies], dtype=np.float64)
    low, middle, high = (
        100.0 * np.array([getattr(policy.overall, end) for policy in policies]) for end in ("low", "estimate", "high")
    )
    axes.vlines(carried, low, high, color=FAINT, linewidth=2.2, zorder=2)
    axes.plot(
        carried, middle, linestyle="", marker="o", markersize=5, markerfacecolor="white", markeredgecolor=INK, zorder=3
    )
    axes.plot(
        carried[campaign.best], middle[campaign.best], linestyle="", marker="o", markersize=6,
        markerfacecolor=_KEEP.colour, markeredgecolor=INK, zorder=4,
    )  # fmt: skip
    axes.set_xlim(carried[0] - 0.5, carried[-1] + 0.5)
    axes.set_xticks(carried)
    axes.set_ylim(0.0, min(1.12 * max(float(high.max()), 1.0), 104.0))
    axes.set_xlabel("cuts carried")
    axes.set_ylabel(f"{shorten(campaign.target, 26)} kept in all, % of what is fed")
