"""What becomes of each cut: keep, redistil, recycle or waste, with the reason in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import format_interval, format_probability, format_typed

Array = NDArray[np.float64]
Decision = Literal["keep", "recycle", "redistil", "waste"]

# Common practice, no source: below a tenth of target a cut costs more heat and time than it gives back; what falls short goes
# into the next charge, unless cuts of one main component together hold half of what was collected: they make a charge.
WORTH_KEEPING = 0.10
CHARGE_OF_ITS_OWN = 0.5
LIKELY = 0.50  # a cut that rather meets the target than not wants a surer reading before it is distilled again
ANOTHER_PRODUCT = 0.80  # a cut with little target that holds so much of one other component is that one's raw material


@dataclass(frozen=True)
class Verdict:
    """A decision with its reason."""

    decision: Decision
    reason: str


def decide(
    kept: NDArray[np.bool_],
    alone: Array,
    mean: Array,
    low: Array,
    high: Array,
    share: Array,
    target: str,
    other: Array,
    others: tuple[str, ...],
    purity: float,
    confidence: float,
    settled: Mapping[int, Verdict] | None = None,
) -> tuple[Verdict, ...]:
    """Verdict on each of K cuts.

    kept : (K,) in the lot. alone : (K,) probability that the cut alone meets the target. mean, low, high : (K,) posterior
    mean and 95 % interval of the target's mass fraction. share : (K,) of all mass collected, NaN where the mass is unknown.
    other, others : (K,) mass fraction and name of the main component besides the target in each cut. settled : by number of
    the cut, what becomes of those that distilling again does not purify, unless they are kept.
    """
    settled = settled or {}
    wanted = format_typed(purity)
    poor = ~kept & (high < WORTH_KEEPING)
    again = ~kept & ~poor & ~np.isin(np.arange(len(kept)), list(settled)) & np.isfinite(share)
    main = np.where(mean >= other, target, np.array(others))
    verdicts = []
    for k in range(len(kept)):  # words, one sentence a cut: no arithmetic here
        chance = format_probability(float(alone[k]), spoken=True)
        if kept[k] and alone[k] >= confidence:
            verdict = Verdict("keep", f"meets {wanted} {target} on its own (probability {chance})")
        elif kept[k]:
            verdict = Verdict(
                "keep", f"alone it meets {wanted} with probability {chance}; purer cuts of the lot make up for it"
            )
        elif poor[k] and other[k] >= ANOTHER_PRODUCT:
            verdict = Verdict("redistil", _another(others[k], other[k], target))
        elif poor[k]:
            verdict = Verdict("waste", f"at most {100 * high[k]:.2g} wt% {target}; the rest is mainly {others[k]}")
        elif k in settled:
            verdict = settled[k]
        elif np.isnan(share[k]):
            verdict = Verdict("recycle", "its mass is unknown, so it cannot join a lot")
        else:
            alike = again & (main == main[k])
            together = float(share[alike].sum())
            decision: Decision = "redistil" if together >= CHARGE_OF_ITS_OWN else "recycle"
            if alone[k] >= LIKELY:
                reason = f"may well meet {wanted} as it is (probability {chance}): {_SURER}"
            else:
                held = format_interval(float(mean[k]), float(low[k]), float(high[k]))
                reason = f"holds {held}, the rest mainly {others[k]}: {_where(decision, int(alike.sum()), together)}"
            verdict = Verdict(decision, reason)
        verdicts.append(verdict)
    return tuple(verdicts)


_SURER = "measure again or by a surer method before distilling it again"


def _where(decision: Decision, count: int, together: float) -> str:
    """Where a cut goes that falls short of the target: ``count`` cuts like it hold ``together`` of all collected."""
    if decision == "recycle":
        return "carry it into the next charge"
    part = f"{100 * together:.0f} % of all collected"
    return (
        f"at {part} it makes a charge of its own"
        if count == 1
        else f"the {count} cuts like it, {part}, make a charge of their own"
    )


def _another(other: str, held: float, target: str) -> str:
    return f"little {target}, but {100 * held:.3g} wt% {other}: redistil it, with {other} as the target, or treat it as waste"
