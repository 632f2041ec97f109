"""What is said of a fitted still in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fractionkit.quantities import Estimate, Flag, format_probability
from fractionkit.sheets import Run
from fractionkit.stages.model import CutOfStill

if TYPE_CHECKING:
    from fractionkit.stages.model import StillFit

DOUBTFUL, NO_STILL = 0.01, 1e-4
MARGIN = 0.5
"""Stages by which a cut must lie beyond a limit before it is called beyond."""


@dataclass(frozen=True)
class Told:
    """What the flags are made of."""

    run: Run
    components: tuple[str, ...]
    stages: Estimate
    reflux: Estimate
    known: bool
    stated: Estimate | None
    chance: float
    cuts: tuple[CutOfStill, ...]
    tallest: float
    total_reflux: Estimate
    holdup: Estimate


def number(span: Estimate) -> str:
    """Stages with their interval, like 5.3 (4.7–6.0)."""
    if span.high - span.low > 10.0:
        return f"{span.estimate:.0f} ({span.low:.0f}–{span.high:.0f})"
    if span.high - span.low > 0.25:
        return f"{span.estimate:.1f} ({span.low:.1f}–{span.high:.1f})"
    return f"{span.estimate:.2f} ({span.low:.2f}–{span.high:.2f})"


@dataclass(frozen=True)
class Line:
    """One line of the answer."""

    what: str
    value: str


def grams(span: Estimate) -> str:
    """A mass with its interval, like 21 g (10–50 g)."""
    if span.low <= 0.0:
        return f"at most {1000 * span.high:.2g} g"
    return f"{1000 * span.estimate:.2g} g ({1000 * span.low:.2g}–{1000 * span.high:.2g} g)"


def summary(fit: StillFit) -> tuple[Line, ...]:
    """The answer, most important first."""
    lines = [Line("stages", f"{number(fit.stages)} theoretical stages, the pot counted as one")]
    if fit.stages.high > 1.0 + MARGIN:
        part = f"{100 * fit.holdup.low:.1f}–{100 * fit.holdup.high:.1f} mol% of the charge"
        lines.append(Line("hold-up", f"{grams(fit.holdup_mass)} in column and head ({part})"))
    if fit.reflux_known:
        lines.append(Line("reflux", f"{number(fit.reflux)}, by what was noted and by the run itself"))
    elif fit.stages.high > 1.0 + 0.3:
        lines.append(Line("reflux", f"not noted; by the run itself {number(fit.reflux)}"))
        pairs = "; ".join(f"{n:.1f} stages at {r:.2g}" for r, n in fit.alternatives)
        lines.append(Line("or", f"{pairs} (stages at reflux ratio)"))
    if fit.stated is not None:
        lines.append(Line("stated", f"{number(fit.stated)} stages"))
    lines.append(
        Line("fit", f"readings at least this far from the still turn up in {format_probability(fit.chance)} of runs")
    )
    return tuple(lines)


def flags(told: Told) -> tuple[Flag, ...]:
    """Everything the user must know."""
    return (*_fit(told), *_limits(told), *_stated(told), *_reflux(told))


def _fit(told: Told) -> list[Flag]:
    if told.chance >= DOUBTFUL:
        return []
    odds = format_probability(told.chance, spoken=True)
    if told.chance < NO_STILL:
        return [
            Flag(
                "no_still",
                "no number of stages explains this run: readings as far from any still turn up with a probability of "
                f"{odds}. Look for a reflux or heating changed midway, charge added, a cut entered out of order, a wrong "
                "mass, or a component nobody named",
            )
        ]
    return [
        Flag(
            "poor_fit",
            f"one number of stages explains this run poorly (a probability of {odds}); the intervals are widened for it",
        )
    ]


def _limits(told: Told) -> list[Flag]:
    found = []
    if told.stages.high >= told.tallest:
        found.append(
            Flag(
                "sharper_than_told",
                f"the run separates so sharply that more stages would look the same: at least {told.stages.low:.0f}, no "
                "upper limit. To learn more, distil a mixture of closer boiling points",
            )
        )
    most = told.stages.high if told.stated is None else max(told.stated.high, told.stated.estimate)
    for cut in told.cuts:
        limit = cut.total_reflux
        if limit is None:
            continue
        if limit.low > most + MARGIN and told.stages.high < told.tallest:
            whose = "that the run as a whole shows" if told.stated is None else "that were stated"
            found.append(
                Flag(
                    "beyond_total_reflux",
                    f"{cut.name} is purer than {most:.1f} stages, the most {whose}, can make it from what was left in the "
                    f"pot even at total reflux (it would take {number(limit)}): look for a wrong mass, a mixed-up cut or a "
                    "reading of another cut",
                )
            )
        elif limit.high < 1.0 - 0.2:
            found.append(
                Flag(
                    "worse_than_one",
                    f"{cut.name} is separated worse than a single boiling does ({number(limit)} stages): liquid was carried "
                    "over (bumping, foaming), or the receiver was changed late",
                )
            )
    return found


def _stated(told: Told) -> list[Flag]:
    if told.stated is None or told.stages.high >= told.tallest:
        return []
    if told.stages.low > told.stated.high:
        text = "more than was stated; look for a wrong mass, a mixed-up cut, or a higher reflux than was noted"
        return [Flag("more_than_stated", f"the run shows {number(told.stages)} stages, {text}")]
    if told.stages.high < told.stated.low:
        text = "fewer than was stated: the column flooded or was not wetted, the reflux was lower, or receivers were changed late"
        return [Flag("fewer_than_stated", f"the run shows {number(told.stages)} stages, {text}")]
    return []


def _reflux(told: Told) -> list[Flag]:
    if told.known or told.stages.high < 1.3:
        return []
    return [
        Flag(
            "reflux_unknown",
            "nobody noted the reflux ratio, so stages and reflux trade against one another: fewer stages at a higher reflux "
            f"explain the run as well. What is known best is the separation itself: {number(told.total_reflux)} stages at "
            "total reflux. Note the reflux ([still] reflux, or --reflux) and run again",
        )
    ]
