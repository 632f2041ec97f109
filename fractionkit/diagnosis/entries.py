"""Slips of the pen: a unit, a sign, a laboratory's result or a test that belongs to something else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import POT
from fractionkit.diagnosis.ground import Ground, ground
from fractionkit.diagnosis.hypothesis import Explained, Hypothesis, Result, Variant
from fractionkit.diagnosis.laplace import Change

Array = NDArray[np.float64]

FAHRENHEIT, WRONG_SIGN, WRONG_RESULT, WRONG_TEST = (
    "temperatures in °F",
    "correction of the wrong sign",
    "wrong result",
    "wrong test",
)
# Prior odds against "nothing is wrong" (common practice, no source).
ODDS = {FAHRENHEIT: 0.06, WRONG_SIGN: 0.06, WRONG_RESULT: 0.04, WRONG_TEST: 0.04}
RESULT_SCALE = 0.15  # mass fraction, one standard deviation of a result that is another cut's
TURNED = 5.0  # mass fraction that makes a test say the other thing, whatever is in the cut
TEMPERATURES = ("head temperature", "first drop", "dry point", POT)
ABOVE, BEYOND = 15.0, 15.0  # K above all boiling points; about their range in which converted readings must lie
ICE = 273.15


def hypotheses(base: Ground, correction: float = 0.0) -> list[Hypothesis]:
    """Slips that move readings by a size of their own. correction : K, the thermometer's as the sheet states it."""
    found = []
    if abs(correction) > 0.0 and any(base.has(kind) for kind in TEMPERATURES):
        label = f"{-correction:+.1f} K in place of {correction:+.1f} K"
        shift: Change = {kind: np.full((1, 1), 2.0 * correction) for kind in TEMPERATURES}
        found.append(_one(WRONG_SIGN, Variant(1.0, lambda _: shift, label=label)))
    evidence = base.evidence
    if evidence.stated is not None:
        rows = np.flatnonzero(np.isfinite(evidence.stated).any(axis=1))
        variants = [_of_one(base, int(row), len(rows)) for row in rows]
        found += [_one(WRONG_RESULT, *variants)] if variants else []
    tests = sorted({(test.cut, test.positive) for test in evidence.detections})
    if tests:
        found.append(_one(WRONG_TEST, *(_turned(base, cut, positive, len(tests)) for cut, positive in tests)))
    return found


def _one(code: str, *variants: Variant) -> Hypothesis:
    return Hypothesis(code, code, ODDS[code], variants)


def _mark(base: Ground, row: int) -> Array:
    one = np.zeros((base.evidence.size, 1))
    one[row] = 1.0
    return one


def _of_one(base: Ground, row: int, count: int) -> Variant:
    one = _mark(base, row)
    return Variant(
        1.0 / count, lambda size: {"stated composition": size * one}, RESULT_SCALE, label=base.evidence.names[row]
    )


def _turned(base: Ground, row: int, positive: bool, count: int) -> Variant:
    shift = {"test": (TURNED if positive else -TURNED) * _mark(base, row)}
    return Variant(1.0 / count, lambda _: shift, label=base.evidence.names[row])


def in_fahrenheit(base: Ground) -> Result | None:
    """The run with its boiling temperatures read as °F, where as °C nothing named boils so high; None elsewhere.

    The readings are laid anew, since nodes laid about what no component can show hold no other composition.
    """
    evidence = base.evidence
    kinds = (evidence.head_start, evidence.head_end, evidence.range_start, evidence.range_end)
    shown = np.concatenate([kind.value[np.isfinite(kind.value)] for kind in kinds])
    if not shown.size:
        return None
    boiling = base.mixture.bubble_point(np.eye(base.mixture.n), evidence.pressure)[0]
    read = _celsius(shown)
    if np.median(shown) < boiling.max() + ABOVE or not (
        boiling.min() - BEYOND < np.median(read) < boiling.max() + BEYOND
    ):
        return None
    start, end, first, last = (replace(kind, value=_celsius(kind.value)) for kind in kinds)
    converted = replace(evidence, head_start=start, head_end=end, range_start=first, range_end=last)
    other = ground(base.mixture, converted, base.mass)
    label = f"{read.min() - ICE:.1f} to {read.max() - ICE:.1f}"
    variant = Variant(1.0, lambda _: {}, label=label)
    explained = Explained(variant, other.fit.log_evidence, 0.0, 0.0, other.block, other.fit)
    return Result(_one(FAHRENHEIT, variant), other.fit.log_evidence, explained)


def _celsius(kelvin: Array) -> Array:
    """Temperatures entered as °C, taken for °F, in K."""
    return np.asarray((kelvin - ICE - 32.0) / 1.8 + ICE)
