"""Limits, results and rules in words, as the tables print them."""

from __future__ import annotations

import numpy as np

from fractionkit.grades.attributes import title_of
from fractionkit.grades.conformity import estimate
from fractionkit.grades.e29 import typed_number
from fractionkit.grades.model import Array, AttributeVerdict, Limit, Result, Rule
from fractionkit.inference.summary import drawn_interval
from fractionkit.quantities import (
    Quantity,
    format_interval,
    format_probability,
    format_typed,
    format_with_half_width,
)
from fractionkit.quantities.notation import NUMBER_THEN_UNIT, flatten

_ICE = 273.15
NOT_QUOTED = "as the source says"
RULES: dict[Rule, str] = {
    "guarded": "guarded acceptance (JCGM 106:2012, 8.3): met where the probability of conformity is at least {goal}, "
    "failed where it is at most {rest}, undecided between",
    "simple": "simple acceptance (JCGM 106:2012, 8.2; absolute method of ASTM E29): the estimate as it is against the limit",
    "rounded": "rounding method of ASTM E29: the estimate, rounded to the last place of the limit, half to even, against "
    "the limit",
}


def rule_text(rule: Rule, confidence: float) -> str:
    """The decision rule in a sentence without a full stop."""
    return RULES[rule].format(goal=format_typed(confidence, "%"), rest=format_typed(1 - confidence, "%"))


def limit_text(limit: Limit) -> str:
    """A limit as it is printed: "≥ 99.0 wt%", "1.318 to 1.322 (25/25 °C)", "absent"."""
    parts = []
    low, high = limit.low, limit.high
    unit = _unit(low or high)
    if low is not None and high is not None:
        parts.append(f"{typed_number(low)} to {typed_number(high)} {unit}".rstrip())
    elif low is not None:
        parts.append(f"≥ {typed_number(low)} {unit}".rstrip())
    elif high is not None:
        parts.append(f"≤ {typed_number(high)} {unit}".rstrip())
    if limit.span is not None:
        parts.append(f"within {typed_number(limit.span)} {_unit(limit.span)}")
    parts += [" or ".join(limit.accept)] if limit.accept else []
    text = "; ".join(parts) or NOT_QUOTED
    if limit.substance:
        text += f" {limit.substance}"
    if limit.temperature is not None:
        text += f" at {limit.temperature - _ICE:g} °C"
    return text


def _unit(end: Quantity | None) -> str:
    """The unit as it was typed; of a specific gravity its basis."""
    if end is None:
        return ""
    if end.basis is not None:
        return f"({end.basis[0]:g}/{end.basis[1]:g} °C)"
    found = NUMBER_THEN_UNIT.fullmatch(flatten(end.text))
    return "" if found is None else found[2].replace("degC", "°C")


def result_text(result: Result) -> str:
    """A result with its 95 % interval or half-width: "99.61 (99.12–99.98) wt%", "1.3204 ± 0.0009 (25/25 °C)"."""
    if result.words:
        return result.words
    if result.interval is not None:
        return _interval_text(result)
    if result.draws is not None:
        columns = result.draws.reshape(len(result.draws), -1).T
        texts = [
            format_interval(mid, *_interval(column, result.kind), result.kind)
            for mid, column in zip(estimate(result), columns, strict=True)
        ]
    else:
        texts = [format_with_half_width(v, u, result.kind) for v, u in zip(result.value, result.u, strict=True)]
    text = " to ".join(texts)
    if result.basis is not None:
        text += f" ({result.basis[0]:g}/{result.basis[1]:g} °C)"
    elif result.temperature is not None:
        text += f" at {result.temperature - _ICE:g} °C"
    return text


def _interval(column: Array, kind: str) -> tuple[float, float]:
    """95 % interval of draws (D,): as everywhere here for a fraction; elsewhere the central one."""
    if kind != "fraction":
        low, high = np.quantile(column, [0.025, 0.975])
        return float(low), float(high)
    _, low, high = drawn_interval(column)
    return float(low), float(high)


def _interval_text(result: Result) -> str:
    low, high = result.interval or (0.0, 0.0)
    top = format_with_half_width(high, None, result.kind)
    if low == 0.0:
        return f"< {top}"
    return f"{format_with_half_width(low, None, result.kind)} to {top}"


def short_of(line: AttributeVerdict, confidence: float) -> str:
    """What keeps a grade from being claimed, one attribute: "water: not tested"."""
    title = line.attribute
    if line.verdict == "not tested":
        return f"{title}: not tested"
    told = f"{title}: {line.verdict}"
    if line.probability is not None:
        found = format_probability(line.probability, spoken=True)
        told += f" ({found} probable that it conforms"
        told += f"; {format_typed(confidence, '%')} is asked for)" if line.verdict == "undecided" else ")"
    elif line.note:
        told += f" ({line.note})"
    return told


def attribute_title(limit: Limit) -> str:
    """What is printed for the attribute of a limit."""
    if limit.attribute == "density" and (limit.low or limit.high) is not None:
        end = limit.low or limit.high
        return "relative density" if end is not None and end.basis is not None else "density"
    if limit.attribute == "colour" and limit.low is None and limit.high is None:
        return "colour"
    if limit.attribute == "acidity" and limit.low is None and limit.high is None:
        return "acidity"
    return title_of(limit.attribute)
