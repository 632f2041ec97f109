"""The report of a series of aliquots: one HTML file that holds its own style and picture and fetches nothing."""

from __future__ import annotations

from fractionkit.aliquots.model import Followed
from fractionkit.aliquots.rows import rows_of
from fractionkit.figures.aliquot_chart import aliquot_chart
from fractionkit.figures.labels import plain
from fractionkit.report.templates import drawn, page

TEMPLATE = "aliquots.html"
_TONES = {"levelled off": ("yes", "✓"), "still moving": ("no", "✗"), "undecided": ("open", "–")}


def aliquot_html(followed: Followed) -> str:
    """Write the report of a followed series; everything that a person typed is escaped."""
    from fractionkit.assessment.context import cautions

    level = followed.level
    tone, sign = _TONES[level.verdict] if level else ("open", "–")
    headline = level.verdict.capitalize() if level else "Not judged"
    return page(
        TEMPLATE,
        run=followed.series,
        title=plain(followed.series.title) or "Untitled series",
        tone=tone,
        headline=f"{sign} {headline}",
        text=followed.text,
        warnings=followed.warnings,
        rows=rows_of(followed),
        picture=drawn(aliquot_chart(followed)),
        cautions=cautions(followed.series.components),
    )
