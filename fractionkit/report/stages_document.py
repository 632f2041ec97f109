"""A fitted still as JSON, schema ``fractionkit/stages/1``: masses in g, fractions 0–1, intervals 95 %."""

from __future__ import annotations

import json
from typing import Any

from fractionkit.figures.labels import ZERO_CELSIUS
from fractionkit.report.document import _number
from fractionkit.stages import Span, StillFit

SCHEMA = "fractionkit/stages/1"
SCHEMA_FILE = "stages-1.schema.json"


def as_json(fit: StillFit) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`."""
    course = fit.course
    return {
        "schema": SCHEMA,
        "title": fit.title,
        "date": fit.date,
        "components": list(fit.components),
        "stages": _span(fit.stages),
        "holdup_fraction": _span(fit.holdup),
        "holdup_g": _span(fit.holdup_mass, 1e3),
        "holdup_mL": {
            "estimate": _number(fit.fitted.holdup_volume, 1e6),
            "u": _number(fit.fitted.holdup_volume_u, 1e6),
        },
        "reflux_ratio": {**_span(fit.reflux), "known": fit.reflux_known},
        "stages_at_total_reflux": _span(fit.total_reflux),
        "alternatives": [{"reflux_ratio": _number(r), "stages": _number(n)} for r, n in fit.alternatives],
        "stated_stages": None if fit.stated is None else _span(fit.stated),
        "probability_of_fit": _number(fit.chance),
        "effective_samples": _number(fit.effective),
        "largest_deviates": [{"reading": name, "deviate": _number(value)} for name, value in fit.rows],
        "cuts": [
            {
                "cut": cut.name,
                "mass_g": _number(cut.mass, 1e3),
                "by_the_still": dict(zip(fit.components, map(_span, cut.predicted), strict=True)),
                "by_the_readings": dict(zip(fit.components, map(_span, cut.assessed), strict=True)),
                "stages_at_total_reflux": None if cut.total_reflux is None else _span(cut.total_reflux),
            }
            for cut in fit.cuts
        ],
        "course": {
            "mass_g": [_number(m, 1e3) for m in course.mass],
            "head_C": [_number(t - ZERO_CELSIUS) for t in course.head[1]],
            "head_low_C": [_number(t - ZERO_CELSIUS) for t in course.head[0]],
            "head_high_C": [_number(t - ZERO_CELSIUS) for t in course.head[2]],
        },
        "flags": [{"code": flag.code, "text": flag.text} for flag in fit.flags],
    }


def json_text(fit: StillFit) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return json.dumps(as_json(fit), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _span(made: Span, factor: float = 1.0) -> dict[str, float | None]:
    return {
        "estimate": _number(made.estimate, factor),
        "low": _number(made.low, factor),
        "high": _number(made.high, factor),
    }
