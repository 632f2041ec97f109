"""Made lots as JSON, schema ``fractionkit/lot/1``: masses in g, fractions 0-1, intervals 95 %."""

from __future__ import annotations

from typing import Any

from fractionkit.grades.model import GradeVerdict
from fractionkit.release.model import Frontier, Left, MadeLot, Parent, Release
from fractionkit.report import json_parts as parts
from fractionkit.sheets.lot_model import EnteredTest

SCHEMA = "fractionkit/lot/1"
SCHEMA_FILE = "lot-1.schema.json"


def as_json(release: Release) -> dict[str, Any]:
    """The document, ready for `json.dumps`, as ``lot-1.schema.json`` beside this module says."""
    return {
        "schema": SCHEMA,
        "title": release.title,
        "lots": [_lot(lot) for lot in release.lots],
        "left": [_left(rest) for rest in release.left],
        "frontiers": [_frontier(found) for found in release.frontiers],
        "economics": [{"what": what, "amount": amount} for what, amount in release.economics],
        "flags": parts.flags(release.flags),
    }


def json_text(release: Release) -> str:
    """The document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return parts.text_of(as_json(release))


def _lot(lot: MadeLot) -> dict[str, Any]:
    return {
        "number": lot.number,
        "title": lot.title,
        "date": lot.date,
        "target": parts.target(lot.target, lot.purity, lot.confidence),
        "parents": [_parent(parent) for parent in lot.parents],
        "mass_g": parts.number(lot.mass, 1e3),
        "mass_u_g": parts.number(lot.mass_u, 1e3),
        "assay": parts.estimate(lot.assay),
        "composition": parts.composition(lot.composition),
        "probability_meets_target": parts.number(lot.probability_meets_target),
        "meets_target": lot.meets_target,
        "grades": [_grade(grade) for grade in lot.grades],
        "tests": [_test(test) for test in lot.tests],
        "label": list(lot.label),
        "stabiliser": {
            "usual": lot.stabiliser.usual,
            "added": lot.stabiliser.added,
            "added_on": lot.stabiliser.added_on,
            "retest_by": lot.stabiliser.retest_by,
            "text": lot.stabiliser.text,
        },
        "storage": list(lot.storage),
        "corrections": parts.corrections(lot.corrections),
        "constants": parts.constants(lot.constants),
        "cautions": parts.cautions(lot.cautions),
    }


def _test(test: EnteredTest) -> dict[str, Any]:
    """As it was written: of a range or "below" the text of the upper end stands beside."""
    return {
        "attribute": test.attribute,
        "result": test.result if isinstance(test.result, str) else test.result.text,
        "high": None if test.high is None else test.high.text,
        "method": test.method,
    }


def _parent(parent: Parent) -> dict[str, Any]:
    return {
        "origin": parent.origin,
        "title": parent.title,
        "name": parent.name,
        "part": parts.number(parent.part),
        "mass_g": parts.number(parent.mass, 1e3),
        "composition": parts.composition(parent.composition),
    }


def _grade(grade: GradeVerdict) -> dict[str, Any]:
    return {
        "grade": grade.grade,
        "title": grade.title,
        "claimed": grade.claimed,
        "missing": list(grade.missing),
        "source": grade.source,
        "status": grade.status,
        "attributes": [
            {
                "attribute": line.attribute,
                "method": line.method,
                "result": line.result,
                "limit": line.limit,
                "rule": line.rule,
                "verdict": line.verdict,
                "probability": parts.number(line.probability),
                "false_accept": parts.number(line.false_accept),
                "source": line.source,
            }
            for line in grade.attributes
        ],
    }


def _left(rest: Left) -> dict[str, Any]:
    return {
        "origin": rest.origin,
        "title": rest.title,
        "name": rest.name,
        "mass_g": parts.number(rest.mass, 1e3),
        "target": rest.target,
        "assay": parts.estimate(rest.assay),
        "probability_meets_target": parts.number(rest.probability_meets_target),
        "donor": rest.donor,
        "more_g": parts.number(rest.more, 1e3),
        "takes": rest.takes,
    }


def _frontier(found: Frontier) -> dict[str, Any]:
    return {
        "target": found.target,
        "confidence": parts.number(found.confidence),
        "points": [
            {"assay": parts.number(float(a)), "mass_g": parts.number(float(m), 1e3)}
            for a, m in zip(found.assay, found.mass, strict=True)
        ],
    }
