"""Explanations that the readings cannot tell apart, put together as one cause: what a person can act on."""

from __future__ import annotations

from collections.abc import Sequence

from fractionkit.diagnosis.hypothesis import Result
from fractionkit.diagnosis.words import ACTIONS, NOTHING, interval, percent, sentence
from fractionkit.mixture import Mixture
from fractionkit.substances import get

TIE = 3.0  # log evidence: 20 to 1
TIE_SHARE = 2e-4  # of the gain: what the model's own imperfection may shift where the gain is large
NAMED = 4  # members of a group that are named, the others are counted
KINDS = {"alcohol": "alcohol", "ketone": "ketone", "ester": "ester", "hydrocarbon": "hydrocarbon"}


def margin(results: Sequence[Result]) -> float:
    """Log evidence within which explanations of these readings are tied."""
    nothing = next(r.log_evidence for r in results if r.hypothesis.code == NOTHING)
    return max(TIE, TIE_SHARE * (max(r.log_evidence for r in results) - nothing))


def groups(results: Sequence[Result]) -> list[tuple[Result, ...]]:
    """Results, most probable first, each foreign component with those that the readings do not tell from it.

    Faults of instruments stand alone: each asks for something else to be done. An azeotrope belongs to its component.
    """
    apart = margin(results)
    left, found = list(results), []
    while left:
        first = left[0]
        peers = [r for r in left if foreign(r) and r.log_evidence > first.log_evidence - apart]
        group = tuple(peers) if foreign(first) else (first,)
        found.append(group)
        left = [r for r in left if not any(r is member for member in group)]
    return found


def foreign(result: Result) -> bool:
    """Whether an explanation is a component that the sheet does not name."""
    return result.hypothesis.cause != result.hypothesis.code


def told(group: Sequence[Result], mixture: Mixture) -> tuple[str, str]:
    """What may be wrong, and what to do about it."""
    components = {r.hypothesis.cause: r for r in reversed(group) if r.hypothesis.code.startswith("third component")}
    names = [name for name in dict.fromkeys(r.hypothesis.cause for r in group) if name in components]
    if len(names) < 2:
        return sentence(group[0])
    named = names if len(names) <= NAMED + 1 else names[:NAMED]  # "1 others" says less than its name
    shares = {name: interval(components[name].best) for name in named}
    listed = [f"{name} (about {percent(share[0])} wt%)" for name, share in shares.items() if share is not None]
    last = listed.pop() if named == names else f"{len(names) - NAMED} others"
    labels = {components[name].best.variant.label for name in names}
    same = all(components[name].best.variant.uniform for name in names)
    where = " in every cut" if same else f" in {labels.pop()}, where most of it would be" if len(labels) == 1 else ""
    text = (
        f"The run holds {kind(names, mixture)} that the sheet does not name: {', '.join(listed)} or {last}{where}; the "
        "readings do not tell them apart."
    )
    special = [ACTIONS[name] for name in names if name in ACTIONS]
    return text, " ".join(["Think which of them the charge may hold, name it in the sheet and assess again.", *special])


def kind(names: Sequence[str], mixture: Mixture) -> str:
    """What some components have in common: "a heavier chlorinated compound"."""
    families = {
        "chlorinated compound" if get(n).family.startswith("chloro") else KINDS.get(get(n).family, "") for n in names
    }
    noun = families.pop() if len(families) == 1 else ""
    boiling = [get(name).boiling_point.value for name in names]
    own = [substance.boiling_point.value for substance in mixture.substances]
    weight = "heavier " if min(boiling) > max(own) else "lighter " if max(boiling) < min(own) else ""
    words = f"{weight}{noun or 'component'}"
    return f"an {words}" if words[0] in "aeiou" else f"a {words}"
