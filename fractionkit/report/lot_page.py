"""The report of lots that were made up: one HTML file that holds its own style and pictures, fit to print on A4."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from fractionkit.figures.labels import plain
from fractionkit.quantities import format_mass, format_probability
from fractionkit.release.model import MadeLot, Release
from fractionkit.report import lot_words, words
from fractionkit.report.templates import environment

if TYPE_CHECKING:
    from jinja2 import Environment

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
    from markupsafe import Markup

    from fractionkit.figures.lot_frontier import frontier_chart

    # The pictures are our own SVG, whose texts are escaped where they are drawn.
    pictures = [(f, Markup(frontier_chart(f, f"frontier{i}"))) for i, f in enumerate(release.frontiers) if f.mass.size]
    return _environment().get_template(TEMPLATE).render(**_context(release), frontiers=pictures)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = environment()
    made.filters.update(
        counted=words.counted,
        grams=format_mass,
        wt_percent=words.wt_percent,
        per_cent=format_probability,
        goal=words.goal,
        correction_change=words.correction_change,
        mean_composition=words.mean_composition,
        lot_mass=lot_words.mass,
        lot_headline=lot_words.headline,
        lot_verdict=lot_words.verdict,
        lot_tests=lot_words.tests,
        not_tested=lot_words.not_tested,
        tone=lot_words.tone,
        wanted=lot_words.wanted,
        risk=lot_words.risk_text,
        part=lot_words.part,
        parent_composition=lot_words.parent_composition,
        claimed=lot_words.claimed,
        claim=lot_words.claim,
        grade_status=lot_words.grade_status,
        grade_rule=lot_words.grade_rule,
        chance=lot_words.chance,
        remark=lot_words.line_remark,
        sign=lot_words.SIGNS.get,
        origin=lot_words.origin,
    )
    return made


def _context(release: Release) -> dict[str, Any]:
    from fractionkit import __version__

    return {
        "release": release,
        "style": STYLE,
        "title": plain(release.title) or "Untitled lot",
        "dates": ", ".join(dict.fromkeys(plain(lot.date) for lot in release.lots if lot.date)),
        "reclaimed": lot_words.RECLAIMED,
        "local_rules": words.LOCAL_RULES,
        "corrections": tuple(dict.fromkeys(one for lot in release.lots for one in lot.corrections)),
        "constants": tuple(dict.fromkeys(one for lot in release.lots for one in lot.constants)),
        "cautions": words.by_substance(one for lot in release.lots for one in lot.cautions),
        "names": _names(release.lots),
        "version": __version__,
    }


def _names(lots: tuple[MadeLot, ...]) -> str:
    return ", ".join(dict.fromkeys(name for lot in lots for name in lot.components))
