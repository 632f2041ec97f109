"""The report of a campaign: one HTML file that holds its own style and picture, runs no script and fetches nothing."""

from __future__ import annotations

from fractionkit.figures.campaign_chart import campaign_chart
from fractionkit.figures.labels import plain
from fractionkit.planning.campaign.model import Campaign
from fractionkit.planning.cutting.words import single
from fractionkit.report import campaign_words as words
from fractionkit.report.templates import environment
from fractionkit.report.words import LOCAL_RULES, by_substance, goal

TEMPLATE = "campaign.html"


def campaign_html(made: Campaign) -> str:
    """Write the report of a campaign; everything that a person typed is escaped."""
    from markupsafe import Markup

    from fractionkit import __version__

    reaches = made.chosen.overall.estimate > 0.0
    page = environment()
    page.filters.update(
        goal=goal, mass=words.mass, percent=words.percent, share=words.share, hours=words.hours,
        megajoules=words.megajoules, settled=words.settled, gain=words.gain, means=words.means, aims=words.aims,
    )  # fmt: skip
    return page.get_template(TEMPLATE).render(
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
        picture=Markup(campaign_chart(made)),  # our own SVG, whose texts are escaped where they are drawn
        cautions=by_substance(made.cautions),
        local_rules=LOCAL_RULES,
        version=__version__,
    )
