"""A fitted still as JSON, schema ``fractionkit/stages/1``: masses in g, fractions 0–1, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.figures.labels import ZERO_CELSIUS
from fractionkit.report import json_parts as parts
from fractionkit.stages import StillFit

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
        "stages": parts.estimate(fit.stages),
        "holdup_fraction": parts.estimate(fit.holdup),
        "holdup_g": parts.estimate(fit.holdup_mass, 1e3),
        "holdup_mL": {
            "estimate": parts.number(fit.fitted.holdup_volume, 1e6),
            "u": parts.number(fit.fitted.holdup_volume_u, 1e6),
        },
        "reflux_ratio": {**parts.estimate(fit.reflux), "known": fit.reflux_known},
        "stages_at_total_reflux": parts.estimate(fit.total_reflux),
        "alternatives": [{"reflux_ratio": parts.number(r), "stages": parts.number(n)} for r, n in fit.alternatives],
        "stated_stages": parts.estimate(fit.stated),
        "probability_of_fit": parts.number(fit.chance),
        "effective_samples": parts.number(fit.effective),
        "largest_deviates": [{"reading": name, "deviate": parts.number(value)} for name, value in fit.rows],
        "cuts": [
            {
                "cut": cut.name,
                "mass_g": parts.number(cut.mass, 1e3),
                "by_the_still": dict(zip(fit.components, map(parts.estimate, cut.predicted), strict=True)),
                "by_the_readings": dict(zip(fit.components, map(parts.estimate, cut.assessed), strict=True)),
                "stages_at_total_reflux": parts.estimate(cut.total_reflux),
            }
            for cut in fit.cuts
        ],
        "course": {
            "mass_g": [parts.number(m, 1e3) for m in course.mass],
            "head_C": [parts.number(t - ZERO_CELSIUS) for t in course.head[1]],
            "head_low_C": [parts.number(t - ZERO_CELSIUS) for t in course.head[0]],
            "head_high_C": [parts.number(t - ZERO_CELSIUS) for t in course.head[2]],
        },
        "flags": parts.flags(fit.flags),
    }


def json_text(fit: StillFit) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(as_json(fit))
