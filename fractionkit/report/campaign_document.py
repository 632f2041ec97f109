"""The campaign as JSON, schema ``fractionkit/campaign/1``: masses in g, fractions 0-1, intervals 95 %."""

from __future__ import annotations

import json
from typing import Any

from fractionkit.planning.campaign_model import BatchRow, Campaign, PassesRow, Policy
from fractionkit.report.document import _composition, _estimate, _flags, _number

SCHEMA = "fractionkit/campaign/1"
SCHEMA_FILE = "campaign-1.schema.json"


def campaign_json(made: Campaign) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`, as ``campaign-1.schema.json`` beside this module says."""
    return {
        "schema": SCHEMA,
        "title": made.title,
        "date": made.date,
        "components": list(made.components),
        "target": {
            "component": made.target,
            "purity": _number(made.purity),
            "confidence": _number(made.confidence),
        },
        "setup": {
            "name": made.setup,
            "stages": _estimate(made.stages),
            "reflux": _number(made.reflux),
            "receivers": made.receivers,
        },
        "feed": {
            "origin": made.origin,
            "mass_g": _estimate(made.fresh, 1e3),
            "composition": _composition(made.feed),
        },
        "pot_limit_g": _number(made.limit, 1e3),
        "residue_carried": made.residue_carried,
        "scenarios": made.scenarios,
        "settled_within": _number(made.tolerance),
        "best": made.chosen.carried,
        "policies": [_policy(policy) for policy in made.policies],
        "one_charge": [_passes(row) for row in made.passes],
        "text": list(made.text),
        "flags": _flags(made.flags),
        "cautions": [
            {"substance": c.substance, "kind": c.kind, "text": c.text, "source": c.source} for c in made.cautions
        ],
    }


def campaign_json_text(made: Campaign) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return json.dumps(campaign_json(made), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _policy(policy: Policy) -> dict[str, Any]:
    return {
        "carried": policy.carried,
        "recovery": _estimate(policy.overall),
        "recovery_last_batch": _estimate(policy.recovery),
        "recovery_with_recycle": _estimate(policy.with_recycle),
        "kept_last_batch_g": _estimate(policy.kept, 1e3),
        "settled_by_batch": policy.settled,
        "share_settled": _number(policy.share_settled),
        "drift": _number(policy.drift),
        "left_in_pot": _estimate(policy.in_pot),
        "leaves": _composition(policy.leaves),
        "gathers": list(policy.gathers),
        "growth_last_batch_g": {name: _estimate(made, 1e3) for name, made in policy.growth.items()},
        "heat_MJ_per_kg_kept": None if policy.heat_per_kg is None else _estimate(policy.heat_per_kg, 1e-6),
        "time_last_batch_h": None if policy.time is None else _estimate(policy.time, 1.0 / 3600.0),
        "imbalance": _number(policy.imbalance),
        "remarks": list(policy.remarks),
        "batches": [_batch(row) for row in policy.batches],
    }


def _passes(row: PassesRow) -> dict[str, Any]:
    return {
        "simple_distillations": row.passes,
        "cut_at": [_number(aim) for aim in row.aims],
        "kept_g": _estimate(row.kept, 1e3),
        "recovery": _estimate(row.recovery),
        "heat_MJ": _estimate(row.heat, 1e-6),
        "time_h": None if row.time is None else _estimate(row.time, 1.0 / 3600.0),
    }


def _batch(row: BatchRow) -> dict[str, Any]:
    return {
        "batch": row.number,
        "fresh_g": _estimate(row.fresh, 1e3),
        "charge_g": _estimate(row.charge, 1e3),
        "kept_g": _estimate(row.kept, 1e3),
        "recovery": _estimate(row.recovery),
        "assay": None if row.assay is None else _estimate(row.assay),
        "probability_meets_target": _number(row.meets),
        "heart": row.cut_at,
        "set_aside_g": _estimate(row.waste, 1e3),
        "residue_g": _estimate(row.residue, 1e3),
        "cuts_carried": row.cuts,
        "recycle_g": _estimate(row.recycle, 1e3),
        "recycle_composition": _composition(row.composition),
        "heat_MJ": _estimate(row.heat, 1e-6),
        "time_h": None if row.time is None else _estimate(row.time, 1.0 / 3600.0),
    }
