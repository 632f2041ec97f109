"""The report of lots that were made up: one HTML file that holds its own style and pictures, fit to print on A4."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fractionkit.figures.labels import plain
from fractionkit.quantities import format_mass, format_probability
from fractionkit.release.model import MadeLot, Release
from fractionkit.report import lot_words, words
from fractionkit.report.templates import drawn, page

TEMPLATE = "lot.html"
STYLE = "lot.css"


def lot_html(release: Release) -> str:
    """Write the report of a release.

    Everything that a person typed is escaped. The page names no outside address that a browser would fetch, and its
    content security policy forbids fetching.

    Parameters
    ----------
    release : Release
        The lots made, and what went into none.

    Returns
    -------
    str
        A whole HTML document.

    """
    from fractionkit.figures.lot_frontier import frontier_chart

    pictures = [(f, drawn(frontier_chart(f, f"frontier{i}"))) for i, f in enumerate(release.frontiers) if f.mass.size]
    cautions = (one for lot in release.lots for one in lot.cautions)
    return page(TEMPLATE, filters=_FILTERS, cautions=cautions, frontiers=pictures, **_context(release))


_FILTERS: dict[str, Callable[..., Any]] = {
    "counted": words.counted,
    "grams": format_mass,
    "wt_percent": words.wt_percent,
    "per_cent": format_probability,
    "goal": words.goal,
    "correction_change": words.correction_change,
    "mean_composition": words.mean_composition,
    "lot_mass": lot_words.mass,
    "lot_headline": lot_words.headline,
    "lot_verdict": lot_words.verdict,
    "lot_tests": lot_words.tests,
    "not_tested": lot_words.not_tested,
    "tone": lot_words.tone,
    "wanted": lot_words.wanted,
    "risk": lot_words.risk_text,
    "part": lot_words.part,
    "parent_composition": lot_words.parent_composition,
    "claimed": lot_words.claimed,
    "claim": lot_words.claim,
    "grade_status": lot_words.grade_status,
    "grade_rule": lot_words.grade_rule,
    "chance": lot_words.chance,
    "remark": lot_words.line_remark,
    "sign": lot_words.SIGNS.get,
    "origin": lot_words.origin,
}


def _context(release: Release) -> dict[str, Any]:
    return {
        "release": release,
        "style": STYLE,
        "title": plain(release.title) or "Untitled lot",
        "dates": ", ".join(dict.fromkeys(plain(lot.date) for lot in release.lots if lot.date)),
        "reclaimed": lot_words.RECLAIMED,
        "corrections": tuple(dict.fromkeys(one for lot in release.lots for one in lot.corrections)),
        "constants": tuple(dict.fromkeys(one for lot in release.lots for one in lot.constants)),
        "names": _names(release.lots),
    }


def _names(lots: tuple[MadeLot, ...]) -> str:
    return ", ".join(dict.fromkeys(name for lot in lots for name in lot.components))
