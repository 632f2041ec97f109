"""What is said of a lot and of what it leaves: label, stabiliser, and what it would take for a cut that falls short."""

from __future__ import annotations

import math
from collections.abc import Callable

from fractionkit.assessment.model import Caution
from fractionkit.lots import Takes, Wanted
from fractionkit.quantities import (
    Estimate,
    Flag,
    format_floor,
    format_interval,
    format_mass,
    format_probability,
    format_typed,
)
from fractionkit.release.model import MadeLot, Stabiliser
from fractionkit.sheets.lot_model import AddedStabiliser

FAR = 0.05  # mass fraction below the purity from which a cut is a charge, not a part of a lot
MANY_TIMES = 10.0  # its own mass of a purer cut: more is no way to use such a cut
SETTLED = 1e-6  # kg, less is nothing


def rounded_up(kg: float) -> str:
    """A mass that is needed, to three digits, never less than it is: "862 g"."""
    digits = 2 - math.floor(math.log10(max(kg, 1e-6) * 1e3))
    up = math.ceil(kg * 1e3 * 10.0**digits - 1e-6) / 10.0**digits
    return f"{up:,.{max(digits, 0)}f} g" if up < 1e4 else f"{up / 1e3:,.{max(digits + 3, 0)}f} kg"


def label(want: Wanted, assay: Estimate, sure: float, chance: float, means: str) -> tuple[str, ...]:
    """What may honestly be written on the bottle. sure : one-sided lower bound at the confidence wanted."""
    lines = [
        f"{want.component}, reclaimed by distillation",
        f"assay {format_interval(assay.estimate, assay.low, assay.high)} by {means} (95 % interval; not by chromatography)",
        f"at least {format_floor(sure)} {want.component}, with {format_typed(want.confidence, '%')} confidence",
    ]
    if chance >= want.confidence:
        lines.append(f"meets {format_typed(want.purity)} (probability {format_probability(chance, spoken=True)})")
    elif want.rule == "rounded":
        lines.append(f"meets {format_typed(want.purity)} by its rounded best estimate only, not guarded")
    else:
        lines.append(f"meets {format_typed(want.purity)} by its best estimate only, not guarded")
    return tuple(lines)


def stabiliser(component: str, cautions: tuple[Caution, ...], added: AddedStabiliser | None) -> Stabiliser:
    """What keeps the solvent, that distilling removed it, and whether it was added again."""
    own = [c.text for c in cautions if c.kind == "stabiliser" and c.substance == component]
    usual = own[-1] if own else ""
    if added is None:
        return Stabiliser(
            usual, None, None, None, "no stabiliser was added again: distilling removes it; count it as unstabilised"
        )
    on = "" if added.added_on is None else f" on {added.added_on.isoformat()}"
    retest = "" if added.retest_by is None else f"; test again by {added.retest_by.isoformat()}"
    amount = f", {added.amount}" if added.amount else ""
    return Stabiliser(
        usual,
        f"{added.added}{amount}",
        None if added.added_on is None else added.added_on.isoformat(),
        None if added.retest_by is None else added.retest_by.isoformat(),
        f"distilling removed what there was; {added.added}{amount} added again{on}{retest}",
    )


def takes_text(
    found: Takes,
    want: Wanted,
    assay: Estimate,
    donor: str | None,
    lot: str,
    density: Callable[[float], str],
    *,
    full: bool,
) -> str:
    """What it would take for one cut, in words.

    donor : what makes up for it, with its assay. lot : how the lot is called. density : mass fraction (95 % half-width)
    to the words that say how good a density tells that, "" where it tells nothing. full : whether the lot is as heavy as
    was asked for.
    """
    goal = format_typed(want.purity)
    held = f"holds {format_interval(assay.estimate, assay.low, assay.high)}"
    chance = format_probability(found.chance, spoken=True)
    if found.chance >= want.confidence:
        why = "the lot is as heavy as was asked for" if full else "another plan keeps more"
        return f"{held}: meets {goal} on its own (probability {chance}); {why}"
    ways = []
    far = found.assay < want.purity - FAR
    if donor is not None and not (far and found.more > MANY_TIMES * found.left):
        ways.append(f"{lot} takes all of it with {rounded_up(found.more)} more like {donor}")
    if far:
        ways.insert(0, "distil it again")
    elif found.half_width_needed is not None:
        instead = f"± {_two(found.half_width_needed)} wt% instead of ± {_two(found.half_width)} wt%"
        ways.append(f"alone it would do as it is, were it known to {instead}{density(found.half_width_needed)}")
    elif found.assay_needed < 1.0:
        ways.append(f"alone it would have to hold {_up(found.assay_needed)}, known as well as it is now")
    else:
        ways.append("alone no assay would do while it is known no better")
    return f"{held}, {goal} with probability {chance}: " + "; or ".join(ways)


def _two(fraction: float) -> str:
    """A half-width in wt%, two digits, rounded down: what is needed is never said larger."""
    value = 100.0 * fraction
    digits = max(1 - math.floor(math.log10(max(value, 1e-9))), 0)
    return f"{math.floor(value * 10.0**digits + 1e-9) / 10.0**digits:.{digits}f}"


def _up(fraction: float) -> str:
    return f"{math.ceil(1e4 * fraction - 1e-9) / 100:.2f} wt%"


def empty_lot(want: Wanted, reach: tuple[float, float] | None) -> Flag:
    """Said of a target that nothing meets. reach : highest assay that can be guaranteed, and the mass that has it, kg."""
    text = f"nothing can be kept as {format_typed(want.purity)} {want.component}"
    if reach is not None:
        sure = f"{format_typed(want.confidence, '%')} sure"
        text += f"; the purest that is {sure} is {format_floor(reach[0])} ({format_mass(reach[1])})"
    return Flag("no_lot", text)


def rule_flag(lot: MadeLot, want: Wanted) -> Flag | None:
    """Said of a lot that was combined by a rule that does not guard."""
    if want.rule == "guarded":
        return None
    how = "its best estimate" if want.rule == "simple" else "its best estimate, rounded to the last digit of the limit"
    chance = format_probability(1.0 - lot.probability_meets_target, spoken=True)
    return Flag(
        "not_guarded",
        f"{lot.number} was combined by the rule '{want.rule}': {how} meets {format_typed(want.purity)}; the probability that "
        f"the lot falls short is {chance}",
    )
