"""A plan of receiver changes in sentences."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.cutting.model import CutPlan, Receiver, ResidueOption
from fractionkit.planning.sampling import central
from fractionkit.quantities import Estimate, format_interval, format_probability, format_typed, mass_scale
from fractionkit.quantities.rounding import RESOLUTION
from fractionkit.readings.checks import ZERO_CELSIUS

Array = NDArray[np.float64]


Kind = Literal["mass", "temperature", "fraction", "probability"]

FINEST: dict[Kind, float] = {"mass": 1e-4, "temperature": 0.1, "fraction": 5e-5, "probability": 5e-4}
"""Half-widths below which an interval is not worth telling: 0.1 g, 0.1 K, and digits that no model holds."""

_SHOWN: dict[Kind, tuple[float, float, str, int]] = {
    "mass": (1e3, 0.0, "g", 1),
    "temperature": (1.0, -ZERO_CELSIUS, "°C", 1),
    "fraction": (100.0, 0.0, "wt%", 2),
    "probability": (100.0, 0.0, "%", 1),
}


def interval(values: Array, kind: Kind, unit: str | None = None) -> str:
    """Median with the 95 % interval of scenarios (S,), as text."""
    low, middle, high = (float(end) for end in central(values))
    return shown(middle, low, high, kind, unit)


def shown(middle: float, low: float, high: float, kind: Kind, unit: str | None = None) -> str:
    """An estimate with its interval, without one where that is narrower than `FINEST`; ``unit`` is a mass's, if one is set."""
    least = max(FINEST[kind], 5e-4 * abs(middle) if kind == "mass" else 0.0)
    return single(middle, kind, unit) if high - low <= 2.0 * least else format_interval(middle, low, high, kind, unit)


def span(made: Estimate, kind: Kind, unit: str | None = None) -> str:
    """An estimate with its interval, as the sentences write it."""
    return shown(made.estimate, made.low, made.high, kind, unit)


def single(value: float, kind: Kind, unit: str | None = None) -> str:
    """One number without an interval, to the digits that a bench can use; a fraction below one is never shown as one."""
    if kind == "mass" and (unit or mass_scale(value)[0]) == "kg":
        return f"{value:.2f} kg"
    factor, shift, name, decimals = _SHOWN[kind]
    if kind == "mass" and factor * value >= 1000.0:
        decimals = 0
    text = f"{factor * value + shift:.{decimals}f}"
    if kind == "fraction" and float(text) == factor and value < 1.0 - RESOLUTION:
        text = f"> {factor - 10.0**-decimals:.{decimals}f}"
    return f"{text} {name}"


def sentences(plan: CutPlan) -> CutPlan:
    """Return the plan with its text."""
    target, asked = plan.names[plan.component], format_typed(plan.purity)
    told = [_heart(plan, target, asked)]
    if plan.heart is not None:
        told += _changes(plan)
        if plan.stops:
            told.append("There are no more receivers: stop distilling with the heart; the rest stays in the pot.")
    if plan.residue is not None:
        told.append(_residue(plan.residue, target))
    return replace(plan, text=tuple(told))


def _heart(plan: CutPlan, target: str, asked: str) -> str:
    alone = len(plan.kept) == 1  # one scenario has no probability
    if plan.heart is None:
        sure = "" if alone else f" with a probability of {format_typed(plan.confidence, '%')}"
        return (
            f"No cut of the distillate holds {asked} {target}{sure}: the best holds at most {100 * plan.reach:.4g} wt%"
            f"{'' if alone else ' with that probability'}."
        )
    heart = plan.receivers[plan.heart]
    told = (
        f"Keep {heart.name}: {interval(plan.kept, 'mass')} of {interval(plan.assay, 'fraction')} {target}, "
        f"{interval(plan.recovery, 'probability')} of what was charged."
    )
    if alone:
        return told
    chance = format_probability(plan.probability, spoken=True)
    return f"{told} It holds at least {asked} with a probability of {chance}."


def mark(receiver: Receiver, plan: CutPlan, *, start: bool) -> str:
    """When a receiver is put under (``start``) or taken away, in the quantity that is watched, the other beside it."""
    head = receiver.head_start if start else receiver.head_end
    if plan.by == "head":
        at = receiver.start if start else receiver.end
        return "first drop" if np.isneginf(at) else "end" if np.isinf(at) else single(at, "temperature")
    at = receiver.start if start else receiver.end
    return f"{single(at, 'mass')} (head {interval(head, 'temperature')})"


def _changes(plan: CutPlan) -> list[str]:
    assert plan.heart is not None
    heart = plan.receivers[plan.heart]
    watched = "the head first reads" if plan.by == "head" else "in all have come over:"
    told = []
    if plan.heart:
        told.append(f"Put {heart.name} under when {watched} {mark(heart, plan, start=True)}.")
    if not (plan.by == "head" and np.isinf(heart.end)):
        told.append(f"Take it away when {watched} {mark(heart, plan, start=False)}.")
    return told


def _residue(option: ResidueOption, target: str) -> str:
    verdict = "that is more than the heart" if option.better else "that is less than the heart"
    return (
        f"What stays in the pot can be the product too: after {single(option.stop, 'mass')} have come over "
        f"{interval(option.mass, 'mass')} of {interval(option.assay, 'fraction')} {target} are left; {verdict}, but "
        "everything that does not boil stays in it as well."
    )
