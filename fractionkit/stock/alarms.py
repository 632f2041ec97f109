"""What on the shelf needs looking after: retest dates, lost stabiliser, evaporation."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fractionkit.quantities import format_with_half_width
from fractionkit.stock.acts import DENSITY
from fractionkit.stock.shelf import Holding

SOON = 30  # days before a retest date from which it is told (common practice, no source)
NOTICEABLE_LOSS = 0.01  # of what came in: then the lighter components may have gone first (common practice, no source)
MOSTLY = 0.9  # of the mass with its stabiliser: then it counts as stabilised (common practice, no source)
DISCORDANT = 3.0  # standard uncertainties between two densities of one liquid, which chance passes once in 370 times
UNSTATED_U = 0.5  # kg/m3, of a density for which no ± was written: 1 mg/mL at 95 % (common practice, no source)


@dataclass(frozen=True)
class Advice:
    """What the catalogue says of a substance, and who says so."""

    text: str
    source: str


@dataclass(frozen=True)
class Alarm:
    """Something to look after: the place, a stable code, a word for the table, a sentence; advice, each with its source."""

    name: str
    code: str
    word: str
    text: str
    advice: tuple[Advice, ...] = ()


def alarms(shelf: Sequence[Holding], day: str) -> tuple[Alarm, ...]:
    """Alarms of everything that is not empty, on an ISO date."""
    return tuple(alarm for held in shelf if held.mass > 0 for alarm in of_holding(held, day))


def together(found: Sequence[Alarm]) -> list[tuple[Alarm, list[str]]]:
    """One alarm of each sentence, and the names of all places that it is told of."""
    alike: dict[tuple[str, str], tuple[Alarm, list[str]]] = {}
    for alarm in found:
        alike.setdefault((alarm.word, alarm.text), (alarm, []))[1].append(alarm.name)
    return list(alike.values())


def of_holding(held: Holding, day: str) -> tuple[Alarm, ...]:
    """Alarms of one place."""
    return (*_retest(held, day), *_stabiliser(held), *_loss(held), *_density(held))


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
    """The main component is one that the trade stabilises, and nothing says that it is, or only a part."""
    enough = held.stabiliser is not None and held.condition.stabilised >= MOSTLY
    if enough or not held.composition or held.kind == "residue":
        return []
    main = max(held.composition, key=lambda name: held.composition[name].estimate)
    advice = _usual(main)
    if not advice:
        return []
    if held.stabiliser is not None:
        part = f"{100 * held.condition.stabilised:.0f} %"
        text = f"holds stabiliser ({held.stabiliser}) that came with {part} of it only; it is mainly {main}"
        return [Alarm(held.name, "little_stabiliser", "little stabiliser", text, advice)]
    text = f"holds no stabiliser as far as the logbook knows; it is mainly {main}"
    return [Alarm(held.name, "no_stabiliser", "no stabiliser", text, advice)]


def _usual(component: str) -> tuple[Advice, ...]:
    """What the catalogue says of the stabiliser of a substance; nothing where it keeps without."""
    from fractionkit.substances.cautions import cautions

    lines = [line for line in cautions((component,)) if line.kind == "stabiliser" and line.substance == component]
    if len(lines) < 2:  # the line of the family, that distilling removes it, is missing: it keeps without
        return ()
    return tuple(Advice(line.text, f"{line.source} ({line.status})") for line in lines)


def _loss(held: Holding) -> list[Alarm]:
    if held.lost < NOTICEABLE_LOSS:
        return []
    text = (
        f"has lost {100 * held.lost:.2g} % by weighing since {held.condition.filled}; the lighter components go first, so "
        "its composition may have moved: read its density again"
    )
    return [Alarm(held.name, "evaporated", "evaporated", text)]


def _density(held: Holding) -> list[Alarm]:
    """The last density that was read of this very liquid, against that of what the logbook says is in there."""
    read = [r for r in held.readings if r.attribute == DENSITY and r.booking >= held.condition.entry]
    if not read or held.known is None:
        return []
    last = read[-1]
    if last.si is None or last.temperature is None:
        return []
    from fractionkit.mixture import Mixture

    mixture = Mixture(held.known.components)
    expected = mixture.density(held.known.draws, last.temperature)
    model = mixture.density_errors(held.known.draws.mean(axis=0), last.temperature)
    u = math.hypot(float(expected.std()), float(np.linalg.norm(model)))
    apart = last.si - float(expected.mean())
    if abs(apart) <= DISCORDANT * math.hypot(u, UNSTATED_U if last.u is None else last.u):
        return []
    told = format_with_half_width(float(expected.mean()), u, "density", "g/mL")
    text = (
        f"had a density of {last.value} on {last.day}, but what the logbook says is in it would have {told}: a wrong "
        "bottle, a wrong entry, or something else in it"
    )
    return [Alarm(held.name, "density_disagrees", "density disagrees", text)]
