"""Where a distillation stands as JSON, schema ``fractionkit/during/1``: masses in g, fractions 0–1, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.figures.labels import ZERO_CELSIUS
from fractionkit.planning.during.model import Change, During, Mixed
from fractionkit.quantities import Estimate
from fractionkit.report import json_parts as parts

SCHEMA = "fractionkit/during/1"
SCHEMA_FILE = "during-1.schema.json"


def as_json(found: During) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`."""
    return {
        "schema": SCHEMA,
        "title": found.title,
        "setup": found.setup,
        "reflux_ratio": parts.number(found.reflux),
        "components": list(found.components),
        "target": {"component": found.target, "purity": found.purity, "confidence": found.confidence},
        "readings": [
            {"head_C": parts.number(r.head - ZERO_CELSIUS), "collected_g": parts.number(r.collected, 1e3)}
            for r in found.readings
        ],
        "receiver_since_g": parts.number(found.since, 1e3),
        "possible": not found.impossible,
        "probability_of_readings": parts.number(found.surprise),
        "effective_samples": parts.number(found.effective),
        "thermometer_bias_K": _estimate(found.reading_error),
        "stages": _estimate(found.stages),
        "receiver": _mixed(found, found.receiver),
        "receiver_meets_target": None if found.meets is None else parts.number(found.meets),
        "coming": _fractions(found, found.coming),
        "left": _mixed(found, found.left),
        "change": _change(found, found.change),
        "text": list(found.text),
    }


def json_text(found: During) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(as_json(found))


def _change(found: During, change: Change | None) -> dict[str, Any] | None:
    if change is None:
        return None
    by_head = change.by == "head"
    return {
        "what": change.what,
        "by": change.by,
        "at_head_C": parts.number(change.at - ZERO_CELSIUS) if by_head else None,
        "at_collected_g": None if by_head else parts.number(change.at, 1e3),
        "head_C": _estimate(change.head, 1.0, -ZERO_CELSIUS),
        "collected_g": _estimate(change.collected, 1e3),
        "ahead_g": _estimate(change.ahead, 1e3),
        "minutes": _estimate(change.minutes),
        "heart": _mixed(found, change.heart),
        "probability_meets_target": parts.number(change.probability),
    }


def _mixed(found: During, made: Mixed | None) -> dict[str, Any] | None:
    if made is None:
        return None
    return {"mass_g": _estimate(made.mass, 1e3), "composition": _fractions(found, made.w)}


def _fractions(found: During, made: tuple[Estimate, ...]) -> dict[str, Any] | None:
    if not made:
        return None
    return {name: _estimate(part) for name, part in zip(found.components, made, strict=True)}


def _estimate(made: Estimate | None, factor: float = 1.0, shift: float = 0.0) -> dict[str, float | None] | None:
    if made is None:
        return None
    ends = {"estimate": made.estimate, "low": made.low, "high": made.high}
    return {name: parts.number(value * factor + shift) for name, value in ends.items()}
