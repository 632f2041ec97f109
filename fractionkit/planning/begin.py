"""What every plan begins with: its scenarios, what is refused before anything is distilled, and what was asked."""

from __future__ import annotations

from collections.abc import Sequence

from fractionkit.errors import Fault, InputError
from fractionkit.planning.checks import check_azeotrope, check_charge, check_phases
from fractionkit.planning.feed import shares
from fractionkit.planning.model import Asked
from fractionkit.planning.scenarios import Scenarios, scenarios_of
from fractionkit.planning.setups import SetUp
from fractionkit.planning.trial import Wish, hindrance
from fractionkit.sheets.still_model import StillSheet


def begun(sheet: StillSheet, count: int, setups: Sequence[SetUp]) -> Scenarios:
    """Scenarios of a feed that the pot takes, the hold-ups leave something of, that boils as one liquid on the target's side.

    Raises
    ------
    InputError, AtOddsError
        as `scenarios_of`, `check_charge`, `check_phases` and `check_azeotrope`.
    """
    scenarios = scenarios_of(sheet, count)
    check_charge(sheet, scenarios, setups)
    check_phases(sheet, scenarios)
    check_azeotrope(sheet, scenarios)
    return scenarios


def refuse_hindered(sheet: StillSheet, scenarios: Scenarios, wish: Wish, column: str) -> None:
    """Refuse the one set-up that is wanted where it cannot be run; ``column`` is what names it."""
    if reason := hindrance(scenarios, wish, sheet.still):
        raise InputError(
            Fault(wish.setup.name, f"a set-up that can be run: {reason}", str(sheet.source), column=column)
        )


def asked(sheet: StillSheet, scenarios: Scenarios) -> Asked:
    """What plan and campaign say alike: title, target, feed, cautions."""
    from fractionkit.assessment.context import cautions

    feed = scenarios.feed
    return Asked(
        title=sheet.title,
        date=sheet.date.isoformat() if sheet.date else None,
        source=str(sheet.source),
        components=feed.components,
        target=feed.target.component,
        purity=feed.target.purity,
        confidence=feed.target.confidence,
        origin=feed.origin,
        feed=shares(feed),
        scenarios=scenarios.count,
        cautions=cautions(feed.components),
    )
