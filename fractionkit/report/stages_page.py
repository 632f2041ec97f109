"""The report of a fitted still: one HTML file that holds its own style and picture and fetches nothing."""

from __future__ import annotations

from fractionkit.figures.labels import plain
from fractionkit.figures.stages_chart import stages_chart
from fractionkit.quantities import Estimate, format_interval, format_mass, format_probability
from fractionkit.report.templates import drawn, page
from fractionkit.stages import StillFit
from fractionkit.stages.words import number, summary

TEMPLATE = "stages.html"


def stages_html(fit: StillFit) -> str:
    """Write the report of a fitted still; everything that a person typed is escaped."""
    from fractionkit.assessment.context import cautions

    tone, sign = ("no", "✗") if fit.contradicted else ("open", "–") if fit.flags else ("yes", "✓")
    return page(
        TEMPLATE,
        run=fit,
        title=plain(fit.title) or "Untitled run",
        tone=tone,
        headline=f"{sign} {number(fit.stages)} theoretical stages",
        text=summary(fit),
        flags=fit.flags,
        picture=drawn(stages_chart(fit)),
        rows=[_row(fit, k) for k in range(len(fit.cuts))],
        deviates=[(name, f"{value:+.1f}") for name, value in fit.rows],
        chance=format_probability(fit.chance),
        cautions=cautions(fit.components),
    )


def _row(fit: StillFit, k: int) -> dict[str, object]:
    cut = fit.cuts[k]
    return {
        "name": cut.name,
        "mass": format_mass(cut.mass, unit=False),
        "still": [_percent(part) for part in cut.predicted],
        "readings": [_percent(part) for part in cut.assessed],
        "total": "–" if cut.total_reflux is None else number(cut.total_reflux),
    }


def _percent(part: Estimate) -> str:
    return format_interval(part.estimate, min(part.low, part.estimate), max(part.high, part.estimate)).removesuffix(
        " wt%"
    )
