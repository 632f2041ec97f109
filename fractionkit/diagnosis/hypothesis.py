"""Explanations: what each would do to the predictions, how large it may be, and its evidence."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.laplace import Change, Fit, changed, fit
from fractionkit.inference.joint import Block
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

PASSES = 3


@dataclass(frozen=True)
class Carried:
    """What a foreign component does, by its content of each vessel.

    content : amount in the charge -> (K,) mass fractions. change : (K,) -> change of the predictions, slope : their
    derivatives by each vessel's content, both (K, G). errors : (K, G, q) change for one standard uncertainty of each of the
    errors that come with the component. mixture : the run's with it as the last.
    """

    content: Callable[[float], Array]
    change: Callable[[Array], Change]
    slope: Callable[[Array], Change]
    errors: Callable[[Array], Change]
    mixture: Mixture


@dataclass(frozen=True)
class Variant:
    """One way in which an explanation may be true.

    weight : its share of the explanation's prior. scale : size of one prior standard deviation in ``unit``; 0 for a fault
    without size. at : size -> change of the predictions. one_sided : whether the size can only be positive.
    label : what it is, in words. carried : of a third component, see `foreign_fit`; uniform : whether all cuts hold the same
    of it.
    """

    weight: float
    at: Callable[[float], Change]
    scale: float = 0.0
    one_sided: bool = False
    label: str = ""
    carried: Carried | None = None
    uniform: bool = False


@dataclass(frozen=True)
class Hypothesis:
    """An explanation with its prior odds against "nothing is wrong" and what kind of cause it is.

    cause : explanations of one cause (a component, and its azeotrope) are one to the person at the bench.
    """

    code: str
    cause: str
    prior: float
    variants: tuple[Variant, ...]
    unit: str = ""


@dataclass(frozen=True)
class Explained:
    """A variant's fit: evidence, size and its standard deviation, and the block and fit to predict from.

    content : (K,) mass fraction of a foreign component in each vessel.
    """

    variant: Variant
    log_evidence: float
    size: float
    sd: float
    block: Block
    fit: Fit
    content: Array | None = None


@dataclass(frozen=True)
class Result:
    """A hypothesis' evidence, summed over its variants, and the best of them."""

    hypothesis: Hypothesis
    log_evidence: float
    best: Explained


def explain(base: Ground, variant: Variant, start: float = 0.0, floor: float = -np.inf) -> Explained:
    """Evidence of one variant, its size sought from ``start`` (in prior standard deviations).

    A size has a normal prior (half a normal one where it can only be positive) and is fitted as one more shared error,
    linear about its estimate, which is found in a few passes. The shared errors start where nothing is known of them:
    readings at odds have drawn those of the run's own fit away. ``floor`` as in `laplace.fit`.
    """
    if variant.scale == 0.0:
        block = changed(base.block, variant.at(0.0))
        found = fit(block, base.size, floor=floor)
        return Explained(variant, found.log_evidence, 0.0, 0.0, block, found)
    p = base.size
    theta = np.append(np.zeros(p), start)
    centre, spread = start, 0.3
    block, found = base.block, base.fit
    for turn in range(PASSES):
        shift, slope = _line(variant, centre, spread)
        block = changed(base.block, shift, slope, 1, p)
        found = fit(block, p + 1, theta, floor=floor)
        theta = found.theta
        previous, centre = centre, float(theta[p])
        if variant.one_sided:
            centre = max(centre, 0.0)
        spread = max(found.sd(p), 0.02)
        if abs(centre - previous) < 0.5 * spread and (turn > 0 or start != 0.0):
            break
    evidence = found.log_evidence
    sd = found.sd(p)
    if variant.one_sided:
        evidence += log_twice_above_zero(float(theta[p]) / sd)
    return Explained(variant, evidence, float(theta[p]) * variant.scale, sd * variant.scale, block, found)


def _line(variant: Variant, centre: float, spread: float) -> tuple[dict[str, Array], dict[str, Array]]:
    """Change at ``centre`` less slope times centre, and the slope, both for a size in prior standard deviations."""
    low = max(centre - spread, 0.0) if variant.one_sided else centre - spread
    high = centre + spread
    first, last = variant.at(low * variant.scale), variant.at(high * variant.scale)
    middle = variant.at(centre * variant.scale)
    slope = {kind: (np.asarray(last[kind]) - np.asarray(first[kind])) / (high - low) for kind in last}
    shift = {kind: np.asarray(middle[kind]) - centre * slope[kind] for kind in middle}
    return shift, {kind: value[..., None] for kind, value in slope.items()}


def log_twice_above_zero(z: float) -> float:
    """What the evidence of a normal prior becomes with half a normal one: ln 2 P(size > 0)."""
    from scipy.special import log_ndtr

    return float(np.log(2.0) + log_ndtr(z))


def weigh(
    base: Ground, hypothesis: Hypothesis, chosen: Mapping[int, float] | None = None, floor: float = -np.inf
) -> Result:
    """Evidence of a hypothesis.

    chosen : numbers of the variants worth a fit and the size that each starts from; all from zero by default. floor : as in
    `laplace.fit`.
    """
    tried = chosen if chosen is not None else dict.fromkeys(range(len(hypothesis.variants)), 0.0)
    return combine(
        hypothesis, [explain(base, hypothesis.variants[number], start, floor) for number, start in tried.items()]
    )


def combine(hypothesis: Hypothesis, explained: Sequence[Explained]) -> Result:
    """Evidence of a hypothesis: its variants' evidences weighted by their prior shares."""
    logs = np.array([e.log_evidence + np.log(e.variant.weight) for e in explained])
    top = float(logs.max())
    share = np.exp(logs - top)
    best = explained[int(np.argmax(logs))]
    return Result(hypothesis, top + float(np.log(share.sum())), best)
