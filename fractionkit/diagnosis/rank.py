"""All explanations of a run weighed against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis import entries, foreign, instruments, plateau, screen_foreign
from fractionkit.diagnosis.foreign_fit import explain_foreign
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Explained, Hypothesis, Result, Variant, combine, weigh
from fractionkit.diagnosis.predictive import checks
from fractionkit.diagnosis.screen import choose
from fractionkit.diagnosis.screen_foreign import Chosen
from fractionkit.diagnosis.words import NOTHING

Array = NDArray[np.float64]

WORST = 3  # cuts whose density alone may be wrong, looked at in any case
# Third components that are fitted, by the number of those in the sheet: the more there are, the less a fit tells.
COMPONENTS, COMPONENTS_OF_MORE = {2: 16, 3: 6}, 4
NEAR = 6.0  # log evidence behind the best within which other stills are tried for a component


@dataclass(frozen=True)
class Ranking:
    """Explanations with their posterior probabilities, most probable first; "nothing wrong" among them.

    against : posterior odds of all faults together over "nothing wrong", divided by their prior odds.
    """

    results: tuple[Result, ...]
    probability: Array
    against: float


def rank(base: Ground, *, station: bool = True, gravity: bool = False, correction: float = 0.0) -> Ranking:
    """Weigh every explanation; of the many third components only those that a rough look finds worth it."""
    results = [_nothing(base)]
    most = COMPONENTS.get(base.mixture.n, COMPONENTS_OF_MORE)
    components = screen_foreign.choose(base, *foreign.candidates(base), most)
    likeliest = [_component(base, one, results[0].log_evidence) for one in components[:1]]
    floor = max([results[0].log_evidence, *(one.log_evidence for one in likeliest)])
    faults = instruments.hypotheses(base, station=station, gravity=gravity) + entries.hypotheses(base, correction)
    for h, chosen in choose(base, faults, len(faults)):
        results.append(weigh(base, h, {**_worst(base, h), **chosen} if h.code == "bubble" else chosen, floor))
        floor = max(floor, results[-1].log_evidence)
    results += _components(base, components, likeliest, floor)
    results += [weigh(base, h, floor=floor) for h in plateau.hypotheses(base)]
    results += [found for found in (entries.in_fahrenheit(base),) if found is not None]
    logs = np.array([r.log_evidence + np.log(r.hypothesis.prior) for r in results])
    share = np.exp(logs - logs.max())
    share /= share.sum()
    order = np.argsort(-logs, kind="stable")
    prior = sum(r.hypothesis.prior for r in results[1:])
    ratio = float(np.logaddexp.reduce(logs[1:]) - logs[0] - np.log(prior)) if len(results) > 1 else 0.0
    return Ranking(tuple(results[i] for i in order), share[order], ratio)


def _component(base: Ground, chosen: Chosen, floor: float) -> Explained:
    """A component with its likeliest still."""
    hypothesis, ((number, place), *_) = chosen
    return explain_foreign(base, hypothesis.variants[number], place, floor)


def _components(base: Ground, chosen: Sequence[Chosen], done: Sequence[Explained], floor: float) -> list[Result]:
    """Third components: the likeliest still of each (those in ``done`` are), then others of those not far behind."""
    found = [[one] for one in done]
    for one in chosen[len(done) :]:
        found.append([_component(base, one, floor)])
        floor = max(floor, found[-1][0].log_evidence)
    for (hypothesis, starts), explained in zip(chosen, found, strict=True):
        if explained[0].log_evidence > floor - NEAR:
            explained += [explain_foreign(base, hypothesis.variants[i], place, floor) for i, place in starts[1:]]
    return [combine(hypothesis, explained) for (hypothesis, _), explained in zip(chosen, found, strict=True)]


def _worst(base: Ground, bubble: Hypothesis) -> dict[int, float]:
    """The variants of those cuts whose density is least what the other readings expect, from no size at all."""
    chance = {check.cut: check.probability for check in checks(base) if check.kind == "density"}
    order = sorted(range(len(bubble.variants)), key=lambda k: chance[bubble.variants[k].label])
    return dict.fromkeys(order[:WORST], 0.0)


def _nothing(base: Ground) -> Result:
    variant = Variant(1.0, lambda _: {})
    own = Explained(variant, base.fit.log_evidence, 0.0, 0.0, base.block, base.fit)
    return Result(Hypothesis(NOTHING, NOTHING, 1.0, (variant,)), base.fit.log_evidence, own)
