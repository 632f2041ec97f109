"""Probability that a value conforms, and the decision rules on it.

JCGM 106:2012, "Evaluation of measurement data - The role of measurement uncertainty in conformity assessment":
conformance probability p_c = P(T_L <= Y <= T_U | what was measured), clause 7.2; for a normal distribution
Phi((T_U - y)/u) - Phi((T_L - y)/u), 7.3 and 7.4; the specific consumer's risk of an accepted item is 1 - p_c, 9.3.2;
guarded acceptance, 8.3.2, simple acceptance, 8.2.
"""

from __future__ import annotations

import math

import numpy as np

from fractionkit.grades import e29
from fractionkit.grades.model import Array, Finding, Limit, Result, Rule

_ROUNDING = 1e-12  # relative; 0.1 + 0.2 is not above 0.3
_ON_LIMIT = 1e-10  # relative


def normal_below(limit: float, value: float, u: float) -> float:
    """P(Y <= limit) of a normal Y with estimate ``value`` and standard uncertainty ``u`` > 0."""
    return 0.5 * math.erfc((value - limit) / (u * math.sqrt(2.0)))


def conformance(result: Result, limit: Limit) -> float | None:
    """Conformance probability of one attribute; None where the result does not say how sure it is, or is in words.

    Draws give the share inside. Two ends of a range that were read with one thermometer err together in a way that is
    not known, so the sum of their risks is taken (Bonferroni): never more than the truth.
    """
    if result.draws is not None:
        return float(np.mean(inside(result.draws, limit)))
    if result.interval is not None:
        return _rectangular(result.interval, limit)
    if not result.value or any(not u for u in result.u):
        return None
    risks = 0.0
    for end, value, u in _ends(result):
        if u is None:
            return None
        low, high = _bounds(limit)
        if end != "low":
            risks += 1.0 - normal_below(high, value, u) if math.isfinite(high) else 0.0
        if end != "high":
            risks += normal_below(low, value, u) if math.isfinite(low) else 0.0
    if limit.span is not None and len(result.value) == 2:
        width = math.hypot(*(u or 0.0 for u in result.u))
        risks += 1.0 - normal_below(limit.span.value, result.value[1] - result.value[0], width)
    return max(1.0 - risks, 0.0)


def inside(draws: Array, limit: Limit) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which of the draws (D,) or (D, 2) lie inside the limit: (D,)."""
    first, last = (draws, draws) if draws.ndim == 1 else (draws[:, 0], draws[:, 1])
    low, high = _bounds(limit)
    # A lot that was made up to just meet its target has draws on the limit itself, but for rounding.
    found = (first >= low * (1.0 - _ON_LIMIT)) & (last <= high * (1.0 + _ON_LIMIT))
    if limit.span is not None:
        found &= last - first <= limit.span.value
    return found


def estimate(result: Result) -> tuple[float, ...]:
    """The best estimate: mean of the draws, or the value; one number, or first drop and dry point."""
    if result.draws is not None:
        mean = np.atleast_1d(result.draws.mean(axis=0))
        return tuple(float(one) for one in mean)
    return result.value


def decide(result: Result, limit: Limit, rule: Rule, confidence: float) -> tuple[Finding, float | None]:
    """Verdict on a number and its conformance probability.

    guarded : meets where the probability is at least ``confidence``, fails where it is at most 1 - confidence, else
    undecided. simple : the estimate as it is (absolute method of E29). rounded : rounding method of E29.
    """
    chance = conformance(result, limit)
    if rule == "guarded":
        if chance is None:
            return "undecided", None
        slack = _ROUNDING
        if chance >= confidence - slack:
            return "meets", chance
        return ("fails" if chance <= 1.0 - confidence + slack else "undecided"), chance
    if result.interval is not None:
        known = chance in (0.0, 1.0)
        return (("meets" if chance else "fails") if known else "undecided"), chance
    return ("meets" if _estimate_inside(result, limit, rounded=rule == "rounded") else "fails"), chance


def _estimate_inside(result: Result, limit: Limit, *, rounded: bool) -> bool:
    found = estimate(result)
    first, last = found[0], found[-1]
    if rounded:
        good = e29.inside_rounded(first, limit.low, None) and e29.inside_rounded(last, None, limit.high)
        return good and (limit.span is None or e29.inside_rounded(last - first, None, limit.span))
    low, high = _bounds(limit)
    slack = _ROUNDING * max(abs(first), abs(last))
    good = first >= low - slack and last <= high + slack
    return good and (limit.span is None or last - first <= limit.span.value + slack)


def _bounds(limit: Limit) -> tuple[float, float]:
    return (
        -math.inf if limit.low is None else limit.low.value,
        math.inf if limit.high is None else limit.high.value,
    )


def _ends(result: Result) -> list[tuple[str, float, float | None]]:
    """A value is held against both ends of the window, of a range the first drop against the lower, the dry point
    against the upper one.
    """
    if len(result.value) == 1:
        return [("both", result.value[0], result.u[0])]
    return [("low", result.value[0], result.u[0]), ("high", result.value[1], result.u[1])]


def _rectangular(interval: tuple[float, float], limit: Limit) -> float:
    low, high = _bounds(limit)
    width = interval[1] - interval[0]
    if width <= 0:
        return float(low <= interval[0] <= high)
    return max(min(high, interval[1]) - max(low, interval[0]), 0.0) / width
