"""All explanations of a run weighed against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis import foreign, instruments
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Explained, Hypothesis, Result, Variant, weigh

Array = NDArray[np.float64]

FULL_FITS = 10  # variants of third components that are fitted, the best by their first-order gain
NOTHING = "nothing wrong"


@dataclass(frozen=True)
class Ranking:
    """Explanations with their posterior probabilities, most probable first; "nothing wrong" among them.

    against : posterior odds of all faults together over "nothing wrong", divided by their prior odds.
    """

    results: tuple[Result, ...]
    probability: Array
    against: float


def rank(base: Ground, *, station: bool = True, gravity: bool = False) -> Ranking:
    """Weigh every explanation: instruments each in full, third components by first order and the best in full."""
    results = [_nothing(base)]
    results += [weigh(base, h) for h in instruments.hypotheses(base, station=station, gravity=gravity)]
    results += components(base, foreign.candidates(base))
    logs = np.array([r.log_evidence + np.log(r.hypothesis.prior) for r in results])
    share = np.exp(logs - logs.max())
    share /= share.sum()
    order = np.argsort(-logs, kind="stable")
    prior = sum(r.hypothesis.prior for r in results[1:])
    ratio = float(np.logaddexp.reduce(logs[1:]) - logs[0] - np.log(prior)) if len(results) > 1 else 0.0
    return Ranking(tuple(results[i] for i in order), share[order], ratio)


def components(base: Ground, hypotheses: Sequence[Hypothesis]) -> list[Result]:
    """Third components: those worth it in full, at least one of their ways through the run."""
    found = []
    for h, gains in foreign.screened(base, hypotheses, FULL_FITS):
        kept = np.isfinite(gains)
        if kept.any():
            chosen = [variant for variant, good in zip(h.variants, kept, strict=True) if good]
            found.append(weigh(base, h, tuple(chosen)))
    return found


def _nothing(base: Ground) -> Result:
    variant = Variant(1.0, lambda _: {})
    own = Explained(variant, base.fit.log_evidence, 0.0, 0.0, base.block, base.fit)
    return Result(Hypothesis(NOTHING, NOTHING, 1.0, (variant,)), base.fit.log_evidence, own)


