"""The report of a campaign: one HTML file that holds its own style and picture, runs no script and fetches nothing."""

from __future__ import annotations

from fractionkit.figures.campaign_chart import campaign_chart
from fractionkit.figures.labels import plain
from fractionkit.planning.campaign.model import Campaign
from fractionkit.planning.cutting.words import single
from fractionkit.report import campaign_words as words
from fractionkit.report.templates import drawn, page
from fractionkit.report.words import goal

TEMPLATE = "campaign.html"
_WORDS = (
    "mass",
    "percent",
    "share",
    "hours",
    "megajoules",
    "settled",
    "gain",
    "means",
    "aims",
)  # filters of the template


def campaign_html(made: Campaign) -> str:
    """Write the report of a campaign; everything that a person typed is escaped."""
    reaches = made.chosen.overall.estimate > 0.0
    return page(
        TEMPLATE,
        filters={"goal": goal, **{name: getattr(words, name) for name in _WORDS}},
        made=made,
        best=made.chosen,
        title=plain(made.title) or "Untitled campaign",
        tone="yes" if reaches else "no",
        headline=f"{'✓' if reaches else '✗'} {words.headline(made)}",
        wanted=words.wanted(made),
        setup=words.setup(made),
        unit=words.unit(made),
        limit="" if made.limit is None else single(made.limit, "mass"),
        carried=words.carried(made.chosen.carried),
        picture=drawn(campaign_chart(made)),
        cautions=made.cautions,
    )
