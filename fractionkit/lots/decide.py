"""What becomes of each cut: keep, redistil, recycle or waste, with the reason in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import format_probability

Array = NDArray[np.float64]
Decision = Literal["keep", "recycle", "redistil", "waste"]

# Common practice, no source: below a tenth of target a cut costs more heat and time than it gives back; a cut that
# holds a fifth of all that was collected is worth a distillation of its own; the rest goes into the next charge.
WORTH_KEEPING = 0.10
CHARGE_OF_ITS_OWN = 0.20
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
    high: Array,
    share: Array,
    target: str,
    other: Array,
    others: tuple[str, ...],
    purity: float,
    confidence: float,
) -> tuple[Verdict, ...]:
    """Verdict on each of K cuts.

    kept : (K,) in the lot. alone : (K,) probability that the cut alone meets the target. mean, high : (K,) posterior
    mean and upper end of the 95 % interval of the target's mass fraction. share : (K,) of all mass collected, NaN where the
    mass is unknown. other, others : (K,) mass fraction and name of the main component besides the target in each cut.
    """
    wanted = f"{100 * purity:.4g} wt%"
    verdicts = []
    for k in range(len(kept)):  # words, one sentence a cut: no arithmetic here
        chance = format_probability(float(alone[k]), spoken=True)
        if kept[k] and alone[k] >= confidence:
            verdict = Verdict("keep", f"meets {wanted} {target} on its own (probability {chance})")
        elif kept[k]:
            verdict = Verdict(
                "keep", f"alone it meets {wanted} with probability {chance}; purer cuts of the lot make up for it"
            )
        elif high[k] < WORTH_KEEPING and other[k] >= ANOTHER_PRODUCT:
            verdict = Verdict("redistil", _another(others[k], other[k], target))
        elif high[k] < WORTH_KEEPING:
            verdict = Verdict("waste", f"at most {100 * high[k]:.2g} wt% {target}; the rest is mainly {others[k]}")
        elif np.isnan(share[k]):
            verdict = Verdict("recycle", "its mass is unknown, so it cannot join a lot")
        elif alone[k] >= LIKELY:
            decision: Decision = "redistil" if share[k] >= CHARGE_OF_ITS_OWN else "recycle"
            verdict = Verdict(decision, f"may well meet {wanted} as it is (probability {chance}): {_SURER}")
        elif share[k] >= CHARGE_OF_ITS_OWN:
            verdict = Verdict(
                "redistil",
                f"meets {wanted} with probability {chance}; at {100 * share[k]:.0f} % of all collected it makes a charge of its "
                "own",
            )
        else:
            verdict = Verdict("recycle", _short_of(chance, wanted, others[k], mean[k]))
        verdicts.append(verdict)
    return tuple(verdicts)


_SURER = "measure again or by a surer method before distilling it again"


def _short_of(chance: str, wanted: str, other: str, mean: float) -> str:
    held = f"holds {100 * mean:.3g} wt%, the rest mainly {other}"
    return f"{held}: meets {wanted} with probability {chance}; carry it into the next charge"


def _another(other: str, held: float, target: str) -> str:
    return f"little {target}, but {100 * held:.3g} wt% {other}: redistil it, with {other} as the target, or treat it as waste"
