"""Help during a run as a page: what to do next, and the run so far against its plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.figures.during_chart import during_chart
from fractionkit.figures.labels import ZERO_CELSIUS, plain
from fractionkit.planning.during.model import During, Mixed
from fractionkit.quantities import Estimate, format_probability, mass_scale
from fractionkit.report.campaign_words import mass
from fractionkit.report.templates import drawn, page
from fractionkit.report.words import wt_percent

if TYPE_CHECKING:
    from fractionkit.planning.during.follow import Started

TEMPLATE = "during.html"


def during_html(found: During, plan: Started) -> str:
    """Write the page of a distillation that runs; everything that a person typed is escaped.

    Parameters
    ----------
    found
        Where it stands.
    plan
        The scenarios of its plan, as `fractionkit.planning.during.follow.start` makes them.

    """
    from fractionkit.assessment.context import cautions

    unit, factor = mass_scale(plan.curve.charge.sum(axis=1).max())
    decimals = 1 if unit == "g" else 2
    return page(
        TEMPLATE,
        run=found,
        title=plain(found.title) or "Untitled plan",
        setup=plain(found.setup) + (f", reflux {found.reflux:g}" if found.reflux > 0.0 else ""),
        tone="no" if found.impossible else "open",
        picture=drawn(during_chart(found, plan)),
        unit=unit,
        rows=_rows(found, unit),
        readings=[(f"{factor * r.collected:.{decimals}f}", f"{r.head - ZERO_CELSIUS:.1f}") for r in found.readings],
        surprise=format_probability(found.surprise),
        cautions=cautions(found.components),
    )


def _rows(found: During, unit: str) -> list[tuple[str, str, list[str]]]:
    """What, its mass, the wt% of each component."""
    rows = [_mixed("in this receiver", found.receiver, unit), _mixed("left in pot and column", found.left, unit)]
    if found.change is not None:
        rows.append(_mixed("the heart, when cut", found.change.heart, unit))
    made = [row for row in rows if row is not None]
    if found.coming:
        made.insert(0, ("coming over now", "–", _shares(found.coming)))
    return made


def _mixed(what: str, made: Mixed | None, unit: str) -> tuple[str, str, list[str]] | None:
    return None if made is None else (what, mass(made.mass, unit), _shares(made.w))


def _shares(made: tuple[Estimate, ...]) -> list[str]:
    return [wt_percent(part, unit=False) for part in made]
