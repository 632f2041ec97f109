"""The campaign as JSON, schema ``fractionkit/campaign/1``: masses in g, fractions 0-1, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.planning.campaign.model import BatchRow, Campaign, PassesRow, Policy
from fractionkit.report import json_parts as parts

SCHEMA = "fractionkit/campaign/1"
SCHEMA_FILE = "campaign-1.schema.json"


def campaign_json(made: Campaign) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`, as ``campaign-1.schema.json`` beside this module says."""
    return {
        "schema": SCHEMA,
        "title": made.title,
        "date": made.date,
        "components": list(made.components),
        "target": parts.target(made.target, made.purity, made.confidence),
        "setup": {
            "name": made.setup,
            "stages": parts.estimate(made.stages),
            "reflux": parts.number(made.reflux),
            "receivers": made.receivers,
        },
        "feed": {
            "origin": made.origin,
            "mass_g": parts.estimate(made.fresh, 1e3),
            "composition": parts.composition(made.feed),
        },
        "pot_limit_g": parts.number(made.limit, 1e3),
        "residue_carried": made.residue_carried,
        "scenarios": made.scenarios,
        "settled_within": parts.number(made.tolerance),
        "best": made.chosen.carried,
        "policies": [_policy(policy) for policy in made.policies],
        "one_charge": [_passes(row) for row in made.passes],
        "text": list(made.text),
        "flags": parts.flags(made.flags),
        "cautions": parts.cautions(made.cautions),
    }


def campaign_json_text(made: Campaign) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(campaign_json(made))


def _policy(policy: Policy) -> dict[str, Any]:
    return {
        "carried": policy.carried,
        "recovery": parts.estimate(policy.overall),
        "recovery_last_batch": parts.estimate(policy.recovery),
        "recovery_with_recycle": parts.estimate(policy.with_recycle),
        "kept_last_batch_g": parts.estimate(policy.kept, 1e3),
        "settled_by_batch": policy.settled,
        "share_settled": parts.number(policy.share_settled),
        "drift": parts.number(policy.drift),
        "left_in_pot": parts.estimate(policy.in_pot),
        "leaves": parts.composition(policy.leaves),
        "gathers": list(policy.gathers),
        "growth_last_batch_g": {name: parts.estimate(made, 1e3) for name, made in policy.growth.items()},
        "heat_MJ_per_kg_kept": parts.estimate(policy.heat_per_kg, 1e-6),
        "time_last_batch_h": parts.estimate(policy.time, 1.0 / 3600.0),
        "imbalance": parts.number(policy.imbalance),
        "remarks": list(policy.remarks),
        "batches": [_batch(row) for row in policy.batches],
    }


def _passes(row: PassesRow) -> dict[str, Any]:
    return {
        "simple_distillations": row.passes,
        "cut_at": [parts.number(aim) for aim in row.aims],
        "kept_g": parts.estimate(row.kept, 1e3),
        "recovery": parts.estimate(row.recovery),
        "heat_MJ": parts.estimate(row.heat, 1e-6),
        "time_h": parts.estimate(row.time, 1.0 / 3600.0),
    }


def _batch(row: BatchRow) -> dict[str, Any]:
    return {
        "batch": row.number,
        "fresh_g": parts.estimate(row.fresh, 1e3),
        "charge_g": parts.estimate(row.charge, 1e3),
        "kept_g": parts.estimate(row.kept, 1e3),
        "recovery": parts.estimate(row.recovery),
        "assay": parts.estimate(row.assay),
        "probability_meets_target": parts.number(row.meets),
        "heart": row.cut_at,
        "set_aside_g": parts.estimate(row.waste, 1e3),
        "residue_g": parts.estimate(row.residue, 1e3),
        "cuts_carried": row.cuts,
        "recycle_g": parts.estimate(row.recycle, 1e3),
        "recycle_composition": parts.composition(row.composition),
        "heat_MJ": parts.estimate(row.heat, 1e-6),
        "time_h": parts.estimate(row.time, 1.0 / 3600.0),
    }
