"""The report of a series of aliquots: one HTML file that holds its own style and picture and fetches nothing."""

from __future__ import annotations

from fractionkit.aliquots.model import Followed
from fractionkit.aliquots.rows import rows_of
from fractionkit.figures.aliquot_chart import aliquot_chart
from fractionkit.figures.labels import plain
from fractionkit.report.templates import environment

TEMPLATE = "aliquots.html"
_TONES = {"levelled off": ("yes", "✓"), "still moving": ("no", "✗"), "undecided": ("open", "–")}


def aliquot_html(followed: Followed) -> str:
    """Write the report of a followed series; everything that a person typed is escaped."""
    from markupsafe import Markup

    from fractionkit import __version__

    level = followed.level
    tone, sign = _TONES[level.verdict] if level else ("open", "–")
    headline = level.verdict.capitalize() if level else "Not judged"
    return (
        environment()
        .get_template(TEMPLATE)
        .render(
            run=followed.series,
            title=plain(followed.series.title) or "Untitled series",
            tone=tone,
            headline=f"{sign} {headline}",
            text=followed.text,
            warnings=followed.warnings,
            rows=rows_of(followed),
            picture=Markup(aliquot_chart(followed)),  # our own SVG, whose texts are escaped where they are drawn
            version=__version__,
        )
    )
