"""What was aimed at, and in words computed from the figures: met, not met, not settled, or beyond these readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.proof.coverage import Cuts
from tests.proof.tables import against_hand, coverage, false_claims, hit80, hit95, ratio, standard_error, title

OVERALL_95, OVERALL_80, MIXTURE_95 = (0.93, 0.98), (0.77, 0.86), (0.90, 0.995)
EFFICIENCY = 1.15  # median of half width over the bound, interior cuts
FALSE_CLAIMS = 0.05
BY_HAND = {"good": 0.35, "plain": 0.5}  # RMS error over that of the better hand method, where that is over 1 wt%
SETTLED = 2.0  # standard errors by which a figure must be outside its aim to be called not met


@dataclass(frozen=True)
class Verdict:
    """A figure beside its aim."""

    text: str
    word: str

    def __str__(self) -> str:
        """As told."""
        return f"{self.text}: {self.word}"


def within(value: float, error: float, aim: tuple[float, float]) -> str:
    """Whether a figure with a standard error lies in its aim."""
    low, high = aim
    if low <= value <= high:
        return "met"
    away = low - value if value < low else value - high
    side = "too seldom" if value < low else "too often, so wider than needed"
    return f"**not met** ({side})" if away > SETTLED * error else f"outside, but not settled ({side})"


def held(found: Sequence[Cuts], aim: tuple[float, float], of: str = "95 %") -> Verdict:
    """How often intervals hold the truth."""
    hits = hit95 if of == "95 %" else hit80
    level, error = coverage(found, hits), standard_error(found, hits)
    text = f"{of} intervals hold {100 * level:.1f} ± {100 * error:.1f} % (aim {100 * aim[0]:g} to {100 * aim[1]:g})"
    # where no run missed, the spread between them is nothing: half a missed run is the least that is not known
    least = 0.5 / sum(len(np.unique(cuts.run)) for cuts in found)
    return Verdict(text, within(level, max(error, least), aim))


def overall(found: Sequence[Cuts]) -> list[str]:
    """One line an aim."""
    lines = []
    for quality in (*sorted({cuts.quality for cuts in found}), "both"):
        part = [cuts for cuts in found if quality in (cuts.quality, "both")]
        lines += [
            f"- {quality} instruments, {held(part, OVERALL_95)}",
            f"- {quality} instruments, {held(part, OVERALL_80, '80 %')}",
        ]
    wide = ratio(found)
    lines.append(f"- {_efficient(wide)}")
    declared, wrong = false_claims(found)
    share = wrong / max(declared, 1)
    lines.append(
        f"- {wrong} of {declared} lots declared are below their purity, {100 * share:.1f} % (aim at most "
        f"{100 * FALSE_CLAIMS:g}): {'met' if share <= FALSE_CLAIMS else '**not met**'}"
    )
    return [*lines, ""]


def _efficient(wide: float) -> Verdict:
    text = f"half width / bound {wide:.2f} (aim at most {EFFICIENCY:g})"
    return Verdict(text, "met" if wide <= EFFICIENCY else "**not met**")


def _by_hand(cuts: Cuts) -> Verdict | None:
    """RMS error against the better hand method; None where there is none worth it."""
    by_hand, ours, least = against_hand(cuts)
    if np.isnan(by_hand):
        return None
    aim = BY_HAND[cuts.quality]
    text = f"RMS error {ours:.2f} of the better hand method's {100 * by_hand:.1f} wt% (aim {aim:g}, bound {least:.2f})"
    if ours <= aim:
        word = "met" if least <= aim else "met, since these truths lie nearer than stated"
    else:
        word = "**not met**" if least <= aim else "cannot be met from these readings, the bound is over the aim"
    return Verdict(text, word)


def by_mixture(found: Sequence[Cuts]) -> list[str]:
    """One line a mixture."""
    lines = []
    for name in dict.fromkeys(title(cuts) for cuts in found):
        told = []
        for cuts in found:
            if title(cuts) == name:
                parts = [held([cuts], MIXTURE_95), _efficient(ratio([cuts])), _by_hand(cuts)]
                told.append(f"{cuts.quality}: " + "; ".join(str(part) for part in parts if part is not None))
        lines.append(f"- {name}. " + ". ".join(told) + ".")
    return [*lines, ""]
