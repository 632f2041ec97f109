"""The report of a plan: one HTML file that holds its own style and pictures, runs no script and fetches nothing."""

from __future__ import annotations

from typing import Any

import numpy as np

from fractionkit.figures.labels import plain
from fractionkit.figures.plan_course import course_chart
from fractionkit.figures.plan_setups import setups_chart
from fractionkit.figures.tradeoff_chart import tradeoff_chart
from fractionkit.figures.tradeoff_receivers import receivers_chart
from fractionkit.planning.model import Plan, Trial
from fractionkit.quantities import format_probability
from fractionkit.report import plan_words as words
from fractionkit.report.templates import drawn, page
from fractionkit.report.words import goal

TEMPLATE = "plan.html"
_WORDS = ("hours", "litres", "megajoules", "percent", "kept", "stages", "reflux", "portion")  # filters of the template


def plan_html(plan: Plan) -> str:
    """Write the report of a plan; everything that a person typed is escaped.

    Parameters
    ----------
    plan : Plan
        The set-ups compared, with the curves of kept mass against assay (``compare(..., pictures=True)``).

    Returns
    -------
    str
        A whole HTML document.

    """
    filters = {"goal": goal, **{name: getattr(words, name) for name in _WORDS}}
    return page(TEMPLATE, filters=filters, cautions=plan.cautions, **_context(plan), **_pictures(plan))


def _pictures(plan: Plan) -> dict[str, Any]:
    best = plan.best
    made: dict[str, Any] = dict.fromkeys(("setups_picture", "course_picture", "receivers_picture"), "")
    if best is not None and best.cuts is not None:
        made["setups_picture"] = drawn(setups_chart(plan))
        made["course_picture"] = drawn(course_chart(plan, best))
        made["receivers_picture"] = drawn(receivers_chart(best.cuts))
    curves = plan.frontiers
    made["tradeoff_picture"] = drawn(tradeoff_chart(curves, plan.target, plan.purity)) if curves else ""
    return made


def _context(plan: Plan) -> dict[str, Any]:
    best = plan.best
    return {
        "plan": plan,
        "best": best,
        "unit": words.unit(plan),
        "title": plain(plan.title) or "Untitled plan",
        "tone": "yes" if best else "no",
        "headline": f"{'✓' if best else '✗'} {words.headline(plan)}",
        "verdict": words.verdict(plan),
        "wanted": words.wanted(plan),
        "feed": words.feed(plan),
        "rank": words.RANKS[plan.rank],
        "pressure": words.pressure(plan),
        "thermometer": words.thermometer(plan),
        "best_name": "" if best is None else _name(best),
        "receivers": [] if best is None else _receivers(plan, best),
        "rest": "" if best is None else words.grams(best.rest),
        "reasons": "" if best is None else _reasons(best),
        "sanity": words.sanity(plan, best.shortcut) if best is not None and best.shortcut is not None else "",
    }


def _name(trial: Trial) -> str:
    return plain(trial.setup.name) + (f" at reflux {trial.reflux:g}" if trial.setup.stages > 1.0 else "")


def _reasons(trial: Trial) -> str:
    cuts = trial.cuts
    assert cuts is not None
    return " ".join(
        f"{receiver.name}: {receiver.reason}." for receiver in cuts.receivers if float(np.mean(receiver.mass)) > 0.0
    )


def _receivers(plan: Plan, trial: Trial) -> list[dict[str, Any]]:
    cuts = trial.cuts
    assert cuts is not None
    return [
        {
            "name": receiver.name,
            "change": words.change(cuts, receiver),
            "head": words.head(receiver),
            "mass": words.mass(receiver, words.unit(plan)),
            "shares": [words.share(receiver, place) for place in range(len(plan.components))],
            "meets": format_probability(receiver.meets),
            "decision": receiver.decision,
        }
        for receiver in cuts.receivers
    ]
