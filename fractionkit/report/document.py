"""The assessment as JSON, schema ``fractionkit/assessment/1``: masses in g, fractions 0–1, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.assessment.model import AssessedCut, Assessment, Balance, Finding, Lot, Portion
from fractionkit.figures.labels import ZERO_CELSIUS
from fractionkit.report import json_parts as parts

SCHEMA = "fractionkit/assessment/1"
SCHEMA_FILE = "assessment-1.schema.json"

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
        "pressure_kPa": {
            "estimate": parts.number(assessment.pressure, 1e-3),
            "u": parts.number(assessment.pressure_u, 1e-3),
        },
        "cuts": [_cut(assessment, place, cut) for place, cut in enumerate(assessment.cuts)],
        "lot": None if assessment.lot is None else _lot(assessment, assessment.lot),
        "portions": [_portion(portion) for portion in assessment.portions],
        "balance": _balance(assessment.balance),
        "instruments": _instruments(assessment.findings),
        "findings": [finding.text for finding in assessment.findings],
        "flags": parts.flags(assessment.flags),
        "corrections": parts.corrections(assessment.corrections),
        "constants": parts.constants(assessment.constants),
        "cautions": parts.cautions(assessment.cautions),
        "consistency": parts.number(assessment.consistency),
        "effective_samples": parts.number(assessment.effective_samples),
        "advice": list(assessment.advice),
    }


def json_text(assessment: Assessment) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(as_json(assessment))


def _target(assessment: Assessment) -> dict[str, Any] | None:
    if assessment.target is None:
        return None
    return parts.target(assessment.target, assessment.purity, assessment.confidence)


def _cut(assessment: Assessment, place: int, cut: AssessedCut) -> dict[str, Any]:
    start, end = assessment.readings.head_start[place], assessment.readings.head_end[place]
    return {
        "cut": cut.name,
        "mass_g": parts.number(cut.mass, 1e3),
        "head_C": [parts.number(start - ZERO_CELSIUS), parts.number(end - ZERO_CELSIUS)],
        "composition": parts.composition(cut.composition),
        "decision": cut.decision,
        "reason": cut.reason,
        "probability_meets_target": parts.number(cut.probability_meets_target),
        "flags": parts.flags(cut.flags),
    }


def _lot(assessment: Assessment, lot: Lot) -> dict[str, Any]:
    graded = assessment.target is not None
    return {
        "cuts": list(lot.cuts),
        "mass_g": parts.number(lot.mass, 1e3),
        "assay": parts.estimate(lot.assay),
        "probability_meets_target": parts.number(lot.probability_meets_target) if graded else None,
        "meets_target": bool(lot.meets_target) if graded else None,
        "label": list(lot.label),
        "not_tested": list(lot.not_tested),
    }


def _portion(portion: Portion) -> dict[str, Any]:
    return {
        "decision": portion.decision,
        "cuts": list(portion.cuts),
        "mass_g": parts.number(portion.mass, 1e3),
        "composition": parts.composition(portion.composition),
    }


def _balance(balance: Balance) -> dict[str, Any]:
    return {
        "charge_g": parts.number(balance.charge, 1e3),
        "charge_u_g": parts.number(balance.charge_u, 1e3),
        "recovered_g": parts.number(balance.recovered, 1e3),
        "residue_g": parts.number(balance.residue, 1e3),
        "holdup_g": parts.number(balance.holdup, 1e3),
        "loss_g": None if balance.loss is None else parts.number(balance.loss.estimate, 1e3),
        "loss_interval_g": parts.estimate(balance.loss, 1e3),
        "components": {
            name: {f"{side}_g": parts.estimate(made, 1e3) for side, made in sides.items()}
            for name, sides in balance.components.items()
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
        told[key] = parts.estimate(finding.after, factor)
    return told
