"""Explanations: what each would do to the predictions, how large it may be, and its evidence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.joint import Block
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.laplace import Change, Fit, changed, fit
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

FREEDOM = 0.5  # relative standard deviation of a foreign component's content of one cut about its profile
BOILING_DOUBT = 0.2  # relative standard deviation of its effect on boiling temperatures (activity at high dilution)
PASSES = 3


@dataclass(frozen=True)
class Variant:
    """One way in which an explanation may be true.

    weight : its share of the explanation's prior. scale : size of one prior standard deviation in ``unit``; 0 for a fault
    without size. at : size -> change of the predictions. one_sided : whether the size can only be positive.
    rows : cuts whose content may each depart from the profile, (K,) bool, None for none. label : what it is, in words.
    content, mixture : of a third component, its mass fraction (K,) by size, and the run's mixture with it as the last;
    uniform : whether all cuts hold the same of it.
    """

    weight: float
    at: Callable[[float], Change]
    scale: float = 0.0
    one_sided: bool = False
    rows: NDArray[np.bool_] | None = None
    label: str = ""
    content: Callable[[float], Array] | None = None
    mixture: Mixture | None = None
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
    """A variant's fit: evidence, size and its standard deviation, and the block and fit to predict from."""

    variant: Variant
    log_evidence: float
    size: float
    sd: float
    block: Block
    fit: Fit


@dataclass(frozen=True)
class Result:
    """A hypothesis' evidence, summed over its variants, and the best of them."""

    hypothesis: Hypothesis
    log_evidence: float
    best: Explained


def explain(base: Ground, variant: Variant, start: float = 0.0) -> Explained:
    """Evidence of one variant, its size sought from ``start`` (in prior standard deviations).

    A size has a normal prior (half a normal one where it can only be positive) and is fitted as one more shared error,
    linear about its estimate, which is found in a few passes. The shared errors start where nothing is known of them:
    readings at odds have drawn those of the run's own fit away.
    """
    if variant.scale == 0.0:
        block = changed(base.block, variant.at(0.0))
        found = fit(block, base.size)
        return Explained(variant, found.log_evidence, 0.0, 0.0, block, found)
    p = base.size
    theta = np.append(np.zeros(p), start)
    centre, spread = start, 0.3
    block, found = base.block, base.fit
    for turn in range(PASSES):
        shift, slope = _line(variant, centre, spread)
        free = variant.rows if centre > 0.0 else None
        columns = slope if free is None else _with_freedom(slope, free, centre)
        count = 1 if free is None else 2 + int(free.sum())
        block = changed(base.block, shift, columns, count, p)
        found = fit(block, p + count, np.append(theta[: p + 1], np.zeros(count - 1)))
        theta = found.theta
        previous, centre = centre, float(theta[p])
        if variant.one_sided:
            centre = max(centre, 0.0)
        spread = max(found.sd(p), 0.02)
        if abs(centre - previous) < 0.5 * spread and (turn > 0 or start != 0.0):
            break
    if variant.one_sided and theta[p] <= 0.0 and len(theta) > p + 1:  # only its freedom speaks for it
        shift, slope = _line(variant, 0.0, spread)
        block = changed(base.block, shift, slope, 1, p)
        found = fit(block, p + 1)
        theta = found.theta
    evidence = found.log_evidence
    sd = found.sd(p)
    if variant.one_sided:
        evidence += float(np.log(2.0 * max(_above_zero(float(theta[p]) / sd), 1e-12)))
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


def _with_freedom(slope: dict[str, Array], rows: NDArray[np.bool_], centre: float) -> dict[str, Array]:
    """Columns of the size, of the doubt about the component's effect on boiling, and cut by cut of its content."""
    own = np.eye(len(rows))[:, rows][:, None, :] * FREEDOM * centre
    columns = {}
    for kind, value in slope.items():
        doubt = 0.0 if kind in ("density", "refractive index") else BOILING_DOUBT * centre
        columns[kind] = np.concatenate([value, doubt * value, value * own], axis=-1)
    return columns


def _above_zero(z: float) -> float:
    from scipy.special import ndtr

    return float(ndtr(z))


def weigh(base: Ground, hypothesis: Hypothesis, chosen: Mapping[int, float] | None = None) -> Result:
    """Evidence of a hypothesis: its variants' evidences weighted by their prior shares.

    chosen : numbers of the variants worth a fit and the size that each starts from; all from zero by default.
    """
    tried = chosen if chosen is not None else dict.fromkeys(range(len(hypothesis.variants)), 0.0)
    explained = [explain(base, hypothesis.variants[number], start) for number, start in tried.items()]
    logs = np.array([e.log_evidence + np.log(e.variant.weight) for e in explained])
    top = float(logs.max())
    share = np.exp(logs - top)
    best = explained[int(np.argmax(logs))]
    return Result(hypothesis, top + float(np.log(share.sum())), best)
