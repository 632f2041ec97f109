"""The assessment as JSON, schema ``fractionkit/assessment/1``: masses in g, fractions 0–1, intervals 95 %."""

from __future__ import annotations

import json
import math
from typing import Any

from fractionkit.assessment.model import AssessedCut, Assessment, Balance, Estimate, Finding, Flag, Lot, Portion
from fractionkit.figures.labels import ZERO_CELSIUS

SCHEMA = "fractionkit/assessment/1"
SCHEMA_FILE = "assessment-1.schema.json"

_DIGITS = 12  # enough for every figure here, and 0.123 kg comes out as 123 g
# part of the instrument's name -> key, and what one SI unit is in the unit that the key names
_INSTRUMENTS: tuple[tuple[str, str, float], ...] = (
    ("thermometer", "thermometer_bias_K", 1.0),
    ("density", "density_bias_g_per_mL", 1e-3),
    ("refract", "refractive_index_bias", 1.0),
    ("pressure", "pressure_bias_kPa", 1e-3),
    ("barometer", "pressure_bias_kPa", 1e-3),
)


def as_json(assessment: Assessment) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`.

    Parameters
    ----------
    assessment : Assessment
        The assessed run.

    Returns
    -------
    dict
        As ``assessment-1.schema.json`` beside this module says; every figure that is not finite is None.

    """
    return {
        "schema": SCHEMA,
        "title": assessment.title,
        "date": assessment.date,
        "components": list(assessment.components),
        "target": _target(assessment),
        "pressure_kPa": {"estimate": _number(assessment.pressure, 1e-3), "u": _number(assessment.pressure_u, 1e-3)},
        "cuts": [_cut(assessment, place, cut) for place, cut in enumerate(assessment.cuts)],
        "lot": None if assessment.lot is None else _lot(assessment, assessment.lot),
        "portions": [_portion(portion) for portion in assessment.portions],
        "balance": _balance(assessment.balance),
        "instruments": _instruments(assessment.findings),
        "findings": [finding.text for finding in assessment.findings],
        "flags": _flags(assessment.flags),
        "corrections": [
            {
                "what": step.what,
                "change": _number(step.change),
                "u": _number(step.u),
                "unit": step.unit,
                "source": step.source,
            }
            for step in assessment.corrections
        ],
        "constants": [{"what": c.what, "value": c.value, "source": c.source} for c in assessment.constants],
        "cautions": [
            {"substance": c.substance, "kind": c.kind, "text": c.text, "source": c.source} for c in assessment.cautions
        ],
        "consistency": _number(assessment.consistency),
        "effective_samples": _number(assessment.effective_samples),
        "advice": list(assessment.advice),
    }


def json_text(assessment: Assessment) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return json.dumps(as_json(assessment), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _number(value: float | None, factor: float = 1.0) -> float | None:
    if value is None:
        return None
    number = float(value) * factor
    return float(f"{number:.{_DIGITS}g}") if math.isfinite(number) else None


def _estimate(made: Estimate, factor: float = 1.0) -> dict[str, float | None]:
    return {
        "estimate": _number(made.estimate, factor),
        "low": _number(made.low, factor),
        "high": _number(made.high, factor),
    }


def _composition(composition: dict[str, Estimate]) -> dict[str, Any]:
    return {name: _estimate(made) for name, made in composition.items()}


def _flags(flags: tuple[Flag, ...]) -> list[dict[str, str]]:
    return [{"code": flag.code, "text": flag.text} for flag in flags]


def _target(assessment: Assessment) -> dict[str, Any] | None:
    if assessment.target is None:
        return None
    return {
        "component": assessment.target,
        "purity": _number(assessment.purity),
        "confidence": _number(assessment.confidence),
    }


def _cut(assessment: Assessment, place: int, cut: AssessedCut) -> dict[str, Any]:
    start, end = assessment.readings.head_start[place], assessment.readings.head_end[place]
    return {
        "cut": cut.name,
        "mass_g": _number(cut.mass, 1e3),
        "head_C": [_number(start - ZERO_CELSIUS), _number(end - ZERO_CELSIUS)],
        "composition": _composition(cut.composition),
        "decision": cut.decision,
        "reason": cut.reason,
        "probability_meets_target": _number(cut.probability_meets_target),
        "flags": _flags(cut.flags),
    }


def _lot(assessment: Assessment, lot: Lot) -> dict[str, Any]:
    graded = assessment.target is not None
    return {
        "cuts": list(lot.cuts),
        "mass_g": _number(lot.mass, 1e3),
        "assay": None if lot.assay is None else _estimate(lot.assay),
        "probability_meets_target": _number(lot.probability_meets_target) if graded else None,
        "meets_target": bool(lot.meets_target) if graded else None,
        "label": list(lot.label),
        "not_tested": list(lot.not_tested),
    }


def _portion(portion: Portion) -> dict[str, Any]:
    return {
        "decision": portion.decision,
        "cuts": list(portion.cuts),
        "mass_g": _number(portion.mass, 1e3),
        "composition": _composition(portion.composition),
    }


def _balance(balance: Balance) -> dict[str, Any]:
    return {
        "charge_g": _number(balance.charge, 1e3),
        "charge_u_g": _number(balance.charge_u, 1e3),
        "recovered_g": _number(balance.recovered, 1e3),
        "residue_g": _number(balance.residue, 1e3),
        "holdup_g": _number(balance.holdup, 1e3),
        "loss_g": None if balance.loss is None else _number(balance.loss.estimate, 1e3),
        "loss_interval_g": None if balance.loss is None else _estimate(balance.loss, 1e3),
        "components": {
            name: {f"{part}_g": _estimate(made, 1e3) for part, made in parts.items()}
            for name, parts in balance.components.items()
        },
    }


def _instruments(findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Errors of the instruments after the run; the two named in the schema are always there, null where unknown."""
    told: dict[str, Any] = {"thermometer_bias_K": None, "density_bias_g_per_mL": None}
    for finding in findings:
        name = finding.instrument.lower()
        key, factor = next(
            ((key, factor) for part, key, factor in _INSTRUMENTS if part in name),
            (f"{name.replace(' ', '_')}_bias_SI", 1.0),
        )
        told[key] = _estimate(finding.after, factor)
    return told
