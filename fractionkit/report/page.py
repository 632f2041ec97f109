"""The report: one HTML file that holds its own style and pictures, runs no script and fetches nothing."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from fractionkit import figures
from fractionkit.assessment.model import AssessedCut, Assessment
from fractionkit.figures.labels import name_list, plain
from fractionkit.quantities import format_mass, format_probability
from fractionkit.report import words
from fractionkit.report.templates import drawn, page

TEMPLATE = "report.html"
_IN_COLUMNS = 3  # up to here every component has a column of its own
_REASON_BESIDE = 2  # up to here there is room for the reason beside them


def html(assessment: Assessment) -> str:
    """Write the report of an assessed run.

    Everything that a person typed is escaped. The page names no outside address that a browser would fetch, and its
    content security policy forbids fetching.

    Parameters
    ----------
    assessment : Assessment
        The assessed run.

    Returns
    -------
    str
        A whole HTML document.

    """
    return page(
        TEMPLATE,
        filters=_FILTERS,
        cautions=assessment.cautions,
        run_picture=drawn(figures.run_chart(assessment)),
        composition_picture=drawn(figures.composition_chart(assessment)),
        density_picture=drawn(figures.density_chart(assessment)),
        **_context(assessment),
    )


_FILTERS: dict[str, Callable[..., Any]] = {
    "name_list": name_list,
    "counted": words.counted,
    "grams": format_mass,
    "grams_interval": words.grams_interval,
    "wt_percent": words.wt_percent,
    "per_cent": format_probability,
    "goal": words.goal,
    "finding_interval": words.finding_interval,
    "correction_change": words.correction_change,
    "mean_composition": words.mean_composition,
}


def _context(assessment: Assessment) -> dict[str, Any]:
    kept = words.has_lot(assessment.lot)
    tone, sign = {True: ("yes", "✓"), False: ("no", "✗"), None: ("open", "–")}[words.meets(assessment)]
    columns = assessment.components if len(assessment.components) <= _IN_COLUMNS else ()
    parts = dict.fromkeys(part for held in assessment.balance.components.values() for part in held)
    draws = assessment.effective_samples
    return {
        "run": assessment,
        "title": plain(assessment.title) or "Untitled run",
        "pressure": words.pressure(assessment),
        "kept": kept,
        "tone": tone,
        "headline": f"{sign} {words.headline(assessment)}",
        "verdict": words.verdict(assessment),
        "agreement": words.agreement(assessment),
        "tally": words.tally(assessment),
        "columns": columns,
        "below": len(columns) > _REASON_BESIDE,
        "span": 3 + len(columns) + (assessment.target is not None),
        "long_names": any(len(cut.name) > 8 for cut in assessment.cuts),
        "rows": [_row(assessment, place, cut, columns) for place, cut in enumerate(assessment.cuts)],
        "balance_rows": words.balance_rows(assessment.balance),
        "balance_parts": list(parts),
        "draws": f"{draws:,.0f}".replace(",", " ") if math.isfinite(draws) else "",
    }


def _row(assessment: Assessment, place: int, cut: AssessedCut, columns: tuple[str, ...]) -> dict[str, Any]:
    readings = assessment.readings
    texts = {name: words.wt_percent(cut.composition.get(name), unit=False) for name in assessment.components}
    return {
        "name": plain(cut.name),
        "mass": format_mass(cut.mass, unit=False),
        "head": words.head_range(float(readings.head_start[place]), float(readings.head_end[place])),
        "composition": [texts[name] for name in columns],
        "listed": [] if columns else list(texts.items()),
        "chance": format_probability(cut.probability_meets_target),
        "decision": words.decision(assessment, cut),
        "reason": cut.reason,
        "flags": cut.flags,
    }
