"""The shelf as JSON, schema ``fractionkit/stock/1``: masses in g, fractions 0–1, intervals 95 %, dates ISO."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fractionkit.report import json_parts as parts
from fractionkit.stock.alarms import Alarm, of_holding
from fractionkit.stock.lineage import Link
from fractionkit.stock.shelf import Holding

if TYPE_CHECKING:
    from fractionkit.stock import Stock
    from fractionkit.stock.campaign import Campaign
    from fractionkit.stock.proof import Proof

SCHEMA = "fractionkit/stock/1"
SCHEMA_FILE = "stock-1.schema.json"

Document = dict[str, Any]


def shelf(held: Sequence[Holding], day: str) -> Document:
    """What stands on the shelf."""
    return {"schema": SCHEMA, "about": "shelf", "day": day, "places": [_place(holding, day) for holding in held]}


def place(stock: Stock, held: Holding, day: str) -> Document:
    """One bottle, cut or lot with its readings, history and papers."""
    papers = stock.ledger.papers(held.place)
    return {
        "schema": SCHEMA,
        "about": "place",
        "day": day,
        "place": _place(held, day),
        "readings": [
            {
                "entry": reading.booking,
                "day": reading.day,
                "attribute": reading.attribute,
                "value": reading.value,
                "si": reading.si,
                "u": reading.u,
                "temperature_K": reading.temperature,
                "method": reading.method,
            }
            for reading in held.readings
        ],
        "history": [
            {"entry": step.entry, "day": step.day, "act": step.act, "other": step.other, "change_g": _g(step.change)}
            for step in stock.history(held.place)
        ],
        "lot": json.loads(papers[-1].document) if papers else None,
    }


def lineage(held: Holding, direction: str, links: Sequence[Link]) -> Document:
    """What is in a place ("from"), or where it went ("to")."""
    return {
        "schema": SCHEMA,
        "about": "lineage",
        "direction": direction,
        "place": held.name,
        "links": [_link(link) for link in links],
    }


def alarms(found: Sequence[Alarm], day: str) -> Document:
    """What to look after."""
    return {"schema": SCHEMA, "about": "alarms", "day": day, "alarms": [asdict(alarm) for alarm in found]}


def campaign(found: Campaign) -> Document:
    """Yield of all runs."""
    masses = (
        "fresh",
        "before",
        "found",
        "recycled",
        "later",
        "in_lots",
        "left",
        "to_keep",
        "standing",
        "waste",
        "loss",
        "kept",
    )
    return {
        "schema": SCHEMA,
        "about": "yield",
        "runs": [
            {
                "run": run.run,
                "title": run.title,
                "day": run.day,
                "fresh_g": _g(run.fresh),
                "recycled_g": _g(run.recycled),
                "cuts_g": {decision: _g(mass) for decision, mass in run.cuts.items()},
                "residue_g": _g(run.residue),
                "loss_g": _g(run.loss),
            }
            for run in found.runs
        ],
        **{f"{part}_g": _g(getattr(found, part)) for part in masses},
        "kept_share": parts.number(found.kept_share),
        "kept_of_component": {name: parts.estimate(made) for name, made in found.shares.items()},
    }


def proof(found: Proof) -> Document:
    """The proof that mass was neither made nor lost."""
    return {
        "schema": SCHEMA,
        "about": "check",
        "holds": found.holds,
        "findings": [asdict(finding) for finding in found.findings],
        "components": [
            {
                "component": part.component,
                "came_g": _g(part.came),
                "stands_g": _g(part.stands),
                "left_g": _g(part.left),
                "restated_g": parts.estimate(part.restated, 1e3),
                "holds": part.holds,
            }
            for part in found.components
        ],
    }


def _place(held: Holding, day: str) -> Document:
    return {
        "name": held.name,
        "kind": held.kind,
        "title": held.title,
        "run": held.run,
        "decision": held.decision,
        "mass_g": _g(held.mass),
        "mass_u_g": _g(held.mass_u),
        "composition": {name: parts.estimate(made) for name, made in held.composition.items()},
        "materials": [{"name": s.name, "run": s.run, "mass_g": _g(s.mass)} for s in held.parents],
        "filled": held.condition.filled,
        "stabiliser": held.stabiliser,
        "stabilised_share": parts.number(held.condition.stabilised),
        "retest_by": held.retest_by,
        "opened": held.opened,
        "stands_at": held.stands_at,
        "lost_share": parts.number(held.lost),
        "alarms": [alarm.code for alarm in of_holding(held, day)] if held.mass > 0 else [],
    }


def _link(link: Link) -> Document:
    return {
        "name": link.name,
        "what": link.what,
        "title": link.title,
        "mass_g": _g(link.mass),
        "share": parts.number(link.share),
        "links": [_link(further) for further in link.links],
    }


def _g(mass: float) -> float | None:
    return parts.number(1e3 * mass)
