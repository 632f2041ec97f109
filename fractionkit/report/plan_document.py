"""The plan as JSON, schema ``fractionkit/plan/1``: masses in g, fractions 0-1, temperatures as the thermometer will read."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.labels import ZERO_CELSIUS
from fractionkit.planning.cutting.model import CutPlan, Receiver
from fractionkit.planning.model import Costs, Plan, Trial
from fractionkit.planning.sampling import central
from fractionkit.planning.shortcut import Shortcut
from fractionkit.quantities import Estimate
from fractionkit.report import json_parts as parts

SCHEMA = "fractionkit/plan/1"
SCHEMA_FILE = "plan-1.schema.json"

Array = NDArray[np.float64]


def plan_json(plan: Plan) -> dict[str, Any]:
    """Build the document, ready for `json.dumps`, as ``plan-1.schema.json`` beside this module says.

    Parameters
    ----------
    plan : Plan
        The set-ups compared.

    Returns
    -------
    dict
        Every figure that is not known is None.

    """
    best = plan.best
    return {
        "schema": SCHEMA,
        "title": plan.title,
        "date": plan.date,
        "components": list(plan.components),
        "target": parts.target(plan.target, plan.purity, plan.confidence),
        "feed": {
            "origin": plan.origin,
            "mass_g": parts.estimate(plan.charge, 1e3),
            "composition": {name: parts.estimate(share) for name, share in plan.feed.items()},
        },
        "pressure_kPa": {"estimate": parts.number(plan.pressure, 1e-3), "u": parts.number(plan.pressure_u, 1e-3)},
        "thermometer_reads_high_K": parts.estimate(plan.reading),
        "receivers": plan.receivers,
        "scenarios": plan.scenarios,
        "ranked_by": plan.rank,
        "best": None if best is None else {"setup": best.setup.name, "reflux_ratio": parts.number(best.reflux)},
        "setups": [_trial(plan, place, trial) for place, trial in enumerate(plan.trials, 1)],
        "flags": parts.flags(plan.flags),
        "cautions": parts.cautions(plan.cautions),
    }


def plan_json_text(plan: Plan) -> str:
    """Write the document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(plan_json(plan))


def _trial(plan: Plan, place: int, trial: Trial) -> dict[str, Any]:
    cuts, setup = trial.cuts, trial.setup
    reaches = trial.reaches
    portions = trial.portions or {}
    return {
        "rank": place,
        "setup": setup.name,
        "source": setup.source,
        "stages": parts.estimate(trial.stages),
        "reflux_ratio": parts.number(trial.reflux),
        "holdup_mL": parts.number(setup.holdup, 1e6),
        "reaches_target": reaches,
        "why_not": trial.impossible or None,
        "limit": parts.number(trial.limit),
        "kept_g": parts.estimate(trial.kept, 1e3),
        "assay": parts.estimate(trial.assay),
        "recovery": parts.estimate(trial.recovery),
        "probability_meets_target": parts.number(cuts.probability) if cuts is not None and reaches else None,
        "cuts": [] if cuts is None else [_cut(plan, cuts, place) for place in range(len(cuts.receivers))],
        **{
            decision: {"count": portions[decision][0], "mass_g": parts.estimate(portions[decision][1], 1e3)}
            if decision in portions
            else {"count": 0, "mass_g": parts.estimate(Estimate(0.0, 0.0, 0.0))}
            for decision in ("recycle", "redistil", "waste")
        },
        "left_in_still_g": parts.estimate(trial.rest, 1e3),
        **_costs(trial.costs),
        "shortcut": None if trial.shortcut is None else _shortcut(plan, trial.shortcut),
        "text": [] if cuts is None else list(cuts.text),
    }


def _cut(plan: Plan, cuts: CutPlan, place: int) -> dict[str, Any]:
    receiver = cuts.receivers[place]
    return {
        "receiver": receiver.name,
        "decision": receiver.decision,
        "reason": receiver.reason,
        "mass_g": _spread(receiver.mass, 1e3),
        "head_C": [_spread(receiver.head_start - ZERO_CELSIUS), _spread(receiver.head_end - ZERO_CELSIUS)],
        "composition": {name: _spread(receiver.w[:, i]) for i, name in enumerate(plan.components)},
        "probability_meets_target": parts.number(receiver.meets),
        "change_at": _change(cuts, receiver),
    }


def _change(cuts: CutPlan, receiver: Receiver) -> dict[str, float | None] | None:
    """Where the receiver is taken away; None for the end of the distillation."""
    if not math.isfinite(receiver.end) or receiver is cuts.receivers[-1]:
        return None
    if cuts.by == "head":
        return {"head_C": parts.number(receiver.end - ZERO_CELSIUS)}
    return {"distilled_g": parts.number(receiver.end, 1e3)}


def _spread(values: Array, factor: float = 1.0) -> dict[str, float | None]:
    """Median and central 95 % of scenarios (S,)."""
    low, middle, high = central(values)
    return parts.estimate(Estimate(float(middle), float(low), float(high)), factor)


def _costs(costs: Costs | None) -> dict[str, Any]:
    return {
        "time_h": None if costs is None else parts.estimate(costs.time, 1.0 / 3600.0),
        "whole_time_h": None if costs is None else parts.estimate(costs.whole_time, 1.0 / 3600.0),
        "heat_kJ": None if costs is None else parts.estimate(costs.heat, 1e-3),
        "coolant_L": None if costs is None else parts.estimate(costs.coolant, 1e3),
    }


def _shortcut(plan: Plan, made: Shortcut) -> dict[str, Any]:
    return {
        "light": plan.components[made.pair.light],
        "heavy": plan.components[made.pair.heavy],
        "relative_volatility": parts.number(made.pair.alpha),
        "least_stages": parts.number(made.least_stages),
        "least_reflux_ratio": parts.number(made.least_reflux),
        "first_drop": {"gilliland": parts.number(made.first_drop), "model": parts.number(made.model)},
    }
