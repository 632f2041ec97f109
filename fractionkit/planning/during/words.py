"""Where a distillation stands, in sentences."""

from __future__ import annotations

from dataclasses import replace

from fractionkit.planning.cutting.words import single, span
from fractionkit.planning.during.model import Change, During
from fractionkit.quantities import format_probability, format_typed

DOUBTFUL = 0.02
NEARLY = 0.5e-3
"""kg: a change so near is now."""


def told(found: During) -> During:
    """Return the answer with its text."""
    place = found.components.index(found.target)
    lines = [_next(found)]
    assert found.left is not None
    if found.receiver is not None:
        lines.append(
            f"In the receiver now: {span(found.receiver.mass, 'mass')} with {span(found.receiver.w[place], 'fraction')} "
            f"{found.target}; it holds at least {format_typed(found.purity)} with probability "
            f"{format_probability(found.meets or 0.0, spoken=True)}."
        )
    lines.append(f"Coming over now: {span(found.coming[place], 'fraction')} {found.target}.")
    lines.append(
        f"Left in pot and column: {span(found.left.mass, 'mass')} with {span(found.left.w[place], 'fraction')} "
        f"{found.target}."
    )
    if found.surprise < DOUBTFUL:
        lines.append(
            "The readings lie at the edge of what the plan allows (probability "
            f"{format_probability(found.surprise)}): check the mass collected, the reflux and the thermometer."
        )
    return replace(found, text=tuple(lines))


def _next(found: During) -> str:
    change = found.change
    assert change is not None
    asked = f"{format_typed(found.purity)} {found.target}"
    if change.what == "none":
        return (
            f"No receiver from now on holds {asked} with {format_typed(found.confidence, '%')} probability: collect the rest as "
            "an intermediate cut."
        )
    assert change.heart is not None
    place = found.components.index(found.target)
    heart = (
        f"the heart will be {span(change.heart.mass, 'mass')} with {span(change.heart.w[place], 'fraction')} "
        f"{found.target} (at least {format_typed(found.purity)} with probability "
        f"{format_probability(change.probability, spoken=True)})"
    )
    if change.what == "start of the heart":
        when = _when(change)
        return f"Change receivers to begin the heart {when}; {heart}."
    return f"Keep this receiver as the heart and take it away {_when(change)}; {heart}."


def _when(change: Change) -> str:
    """When to change: now, or at a head temperature or mass, and how far that is."""
    if change.ahead.estimate < NEARLY:
        return "now"
    far = f"{span(change.ahead, 'mass')} from now"
    if change.minutes is not None:
        far += f", about {max(change.minutes.estimate, 1.0):.0f} min"
    if change.by == "head":
        return f"when the head reads {single(change.at, 'temperature')} ({far})"
    return f"when {single(change.at, 'mass')} have been collected in all ({far})"


def why_impossible(found: During, lowest: float, highest: float) -> str:
    """Why readings do not fit the plan."""
    last = found.readings[-1]
    return (
        f"These readings cannot come from this plan: with {single(last.collected, 'mass')} collected the head would read "
        f"{single(lowest, 'temperature')} to {single(highest, 'temperature')}, not {single(last.head, 'temperature')}. "
        "Look at the mass collected (all receivers together), the charge, its composition and the pressure in the plan, "
        "the set-up and reflux that are running, the place of the thermometer's bulb, and for a component nobody named."
    )
