"""The shelf as a page: what stands there and what to watch, where it came from, whether the mass adds up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fractionkit.figures.lineage_chart import lineage_chart
from fractionkit.quantities import format_mass
from fractionkit.report import words
from fractionkit.report.templates import drawn, page
from fractionkit.stock.alarms import Alarm, of_holding, together
from fractionkit.stock.lineage import back
from fractionkit.stock.shelf import Holding

if TYPE_CHECKING:
    from fractionkit.stock import Stock

TEMPLATE = "stock.html"
MOST_PICTURES = 24
"""Lots and bottles whose lineage is drawn; `fractionkit stock from NAME` tells that of any."""

_ORDER = ("lot", "bottle", "cut", "residue")
_TRACE = 1e-3  # mass fraction below which a component is not listed


def stock_html(stock: Stock, held: Sequence[Holding], day: str) -> str:
    """Write the page of a shelf; everything that a person typed is escaped.

    Parameters
    ----------
    stock
        The logbook.
    held
        What of it is told.
    day
        ISO date on which alarms are judged.

    """
    from fractionkit.assessment.context import cautions

    ordered = sorted(held, key=lambda found: _ORDER.index(found.kind))
    alarms = [alarm for found in ordered if found.mass for alarm in of_holding(found, day)]
    proof = stock.prove()
    substances = dict.fromkeys(
        name for found in held for name, made in found.composition.items() if made.high >= _TRACE
    )
    return page(
        TEMPLATE,
        title="The shelf",
        day=day,
        count=words.counted(len(held), "item"),
        total=format_mass(sum(found.mass for found in held)),
        tone="no" if not proof.holds else "open" if alarms else "yes",
        headline=_headline(proof.holds, alarms),
        rows=[_row(found, day) for found in ordered],
        alarms=[(", ".join(names), alarm) for alarm, names in together(alarms)],
        advice=list(dict.fromkeys(advice for alarm in alarms for advice in alarm.advice)),
        proof=proof,
        balance=[_balance(part) for part in proof.components],
        pictures=_pictures(stock, ordered),
        cautions=cautions(tuple(substances)),
    )


def _headline(holds: bool, alarms: Sequence[Alarm]) -> str:
    if not holds:
        return "✗ The logbook does not add up"
    look = f"; {words.counted(len(alarms), 'thing')} to look after" if alarms else ", nothing to look after"
    return f"{'–' if alarms else '✓'} Everything adds up{look}"


def _row(found: Holding, today: str) -> dict[str, Any]:
    dated = (("opened", found.opened), ("retest by", found.retest_by))
    dates = [f"{what} {day}" for what, day in dated if day]
    return {
        "name": found.name,
        "said": [text for text in (found.title, found.stands_at, *dates) if text],
        "mass": format_mass(found.mass, unit=False),
        "parts": [
            (name, words.wt_percent(part, unit=False))
            for name, part in found.composition.items()
            if part.high >= _TRACE
        ],
        "purpose": found.decision or {"lot": "lot", "residue": "waste"}.get(found.kind, ""),
        "stabiliser": found.stabiliser or "none known",
        "watch": [alarm.word for alarm in of_holding(found, today)] if found.mass else [],
    }


def _balance(part: Any) -> dict[str, str]:
    masses = {name: format_mass(getattr(part, name), unit=False) for name in ("came", "stands", "left")}
    settled = abs(part.restated.high - part.restated.low) < 1e-6  # kg
    restated = "0" if settled else words.grams_interval(part.restated, unit=False)
    return masses | {"component": part.component, "restated": restated, "holds": "holds" if part.holds else "BROKEN"}


def _pictures(stock: Stock, ordered: Sequence[Holding]) -> list[Any]:
    """The lineage of each lot and bottle that was made of something."""
    charts: list[Any] = []
    for found in ordered:
        links = back(stock.ledger, found.place) if found.kind in ("lot", "bottle") and found.mass else ()
        if any(link.what != "outside" for link in links):
            chart = lineage_chart(found.name, format_mass(found.mass), links, f"lineage{len(charts)}")
            charts.append(drawn(chart))
    return charts[:MOST_PICTURES]
