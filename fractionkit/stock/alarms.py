"""What on the shelf needs looking after: retest dates, lost stabiliser, evaporation."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from fractionkit.stock.shelf import Holding

SOON = 30  # days before a retest date from which it is told (common practice, no source)
NOTICEABLE_LOSS = 0.01  # of what came in: then the lighter components may have gone first (common practice, no source)


@dataclass(frozen=True)
class Alarm:
    """Something to look after: the place, a stable code, a word for the table, a sentence; advice with its source."""

    name: str
    code: str
    word: str
    text: str
    advice: str = ""
    source: str = ""


def alarms(shelf: Sequence[Holding], day: str) -> tuple[Alarm, ...]:
    """Alarms of everything that is not empty, on an ISO date."""
    return tuple(alarm for held in shelf if held.mass > 0 for alarm in of_holding(held, day))


def of_holding(held: Holding, day: str) -> tuple[Alarm, ...]:
    """Alarms of one place."""
    return (*_retest(held, day), *_stabiliser(held), *_loss(held))


def _retest(held: Holding, day: str) -> list[Alarm]:
    if held.retest_by is None:
        return []
    left = (datetime.date.fromisoformat(held.retest_by) - datetime.date.fromisoformat(day)).days
    if left < 0:
        text = f"was to be tested again by {held.retest_by}: test it before it is used"
        return [Alarm(held.name, "retest_due", "retest due", text)]
    if left <= SOON:
        return [Alarm(held.name, "retest_soon", "retest soon", f"is to be tested again by {held.retest_by}")]
    return []


def _stabiliser(held: Holding) -> list[Alarm]:
    """The main component is one that the trade stabilises, and nothing says that there is any."""
    if held.stabiliser is not None or not held.composition or held.kind == "residue":
        return []
    main = max(held.composition, key=lambda name: held.composition[name].estimate)
    said = _usual(main)
    if said is None:
        return []
    text = f"holds no stabiliser as far as the logbook knows; it is mainly {main}"
    return [Alarm(held.name, "no_stabiliser", "no stabiliser", text, *said)]


def _usual(component: str) -> tuple[str, str] | None:
    """What the catalogue says of the stabiliser of a substance, with its source; None where it names none."""
    from fractionkit.substances.cautions import cautions

    lines = [line for line in cautions((component,)) if line.kind == "stabiliser" and line.substance == component]
    if len(lines) < 2:  # the line of the family, that distilling removes it, is missing: it keeps without
        return None
    return " ".join(line.text for line in lines), "; ".join(f"{line.source} ({line.status})" for line in lines)


def _loss(held: Holding) -> list[Alarm]:
    if held.lost < NOTICEABLE_LOSS:
        return []
    text = (
        f"has lost {100 * held.lost:.2g} % by weighing since {held.condition.filled}; the lighter components go first, so "
        "its composition may have moved: read its density again"
    )
    return [Alarm(held.name, "evaporated", "evaporated", text)]
