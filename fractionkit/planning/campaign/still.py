"""A still as the divider of a campaign: every charge is distilled and cut at its best."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.campaign.core import Divide, Split
from fractionkit.planning.cutting.best import changes
from fractionkit.planning.cutting.curve import collected
from fractionkit.planning.cutting.heart import Heart, best_heart
from fractionkit.planning.cutting.words import single
from fractionkit.planning.running_costs import course
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.trial import Wish, chance_margin, distilled, rates, stop_mass
from fractionkit.sheets.still_model import StillEntry

Array = NDArray[np.float64]

NODES = 56
"""Marks between which each batch's heart is sought before it is refined."""


def charged(scenarios: Scenarios, charge: Array) -> Scenarios:
    """The same scenarios with charges (G, S, n) kg in place of the feed: G times S of them."""
    G, S, n = charge.shape
    index = np.tile(np.arange(S), G)
    kg = charge.reshape(G * S, n)
    mass = kg.sum(axis=-1)
    return replace(
        scenarios,
        feed=replace(scenarios.feed, w=kg / mass[:, None], mass=mass),
        volatility=scenarios.volatility.take(index),
        pressure=scenarios.pressure[index],
        reading=scenarios.reading[index],
        column=scenarios.column[index],
    )


def still_divider(scenarios: Scenarios, wish: Wish, still: StillEntry, receivers: int) -> Divide:
    """Distil with one set-up and cut so that most is kept, the same changes for all scenarios of a policy.

    The heart is sought anew in every batch, by head temperature or by mass, whichever keeps more; the other receivers
    divide the rest so that the least is mixed. The heart meets the purity with the confidence of the target, asked with
    the margin of `chance_margin`.
    """
    target, component = scenarios.feed.target, scenarios.component
    margin = chance_margin(target.confidence, scenarios.count)
    molar_mass = scenarios.mixture.molar_mass

    def divide(charge: Array) -> Split:
        G, S, n = charge.shape
        many = charged(scenarios, charge)
        made = distilled(many, [wish], still)[0]
        times = course(made, rates(many, wish.setup, still))
        curve = collected(made, reading_error=many.reading, stop=stop_mass(times, still))
        parts, kept, meets, notes = [], np.zeros((G, receivers), dtype=bool), np.zeros(G), []
        for g in range(G):  # policies, a handful; their receivers are changed at marks of their own
            own = curve.take(slice(g * S, (g + 1) * S))
            heart = best_heart(
                own, component, target.purity, target.confidence + margin, nodes=NODES, from_start=receivers == 1
            )
            by = "mass" if heart is None else heart.by
            marks = None if heart is None else (heart.start, heart.end)
            ends, number = changes(own, molar_mass, marks, receivers, by)
            over = own.at(ends, by)
            amounts = np.zeros((S, receivers, n))
            amounts[:, : len(ends)] = np.diff(over, axis=1, prepend=0.0)
            parts.append(amounts)
            if heart is not None and number is not None:
                kept[g, number], meets[g] = True, heart.probability - margin
            notes.append(_note(heart))
        amounts = np.stack(parts)
        rest = charge - amounts.sum(axis=2)
        last = amounts.sum(axis=(2, 3)).reshape(-1)
        time, heat = times.at(last)
        return Split(amounts, np.maximum(rest, 0.0), kept, meets, time.reshape(G, S), heat.reshape(G, S), tuple(notes))

    return divide


def _note(heart: Heart | None) -> str:
    """When the heart's receiver is put under and taken away."""
    if heart is None:
        return "no heart"
    marks = []
    for mark in (heart.start, heart.end):
        if heart.by == "mass":
            marks.append(single(mark, "mass") + " over")
        else:
            marks.append("first drop" if mark == -np.inf else "end" if mark == np.inf else single(mark, "temperature"))
    return f"{marks[0]} to {marks[1]}"
