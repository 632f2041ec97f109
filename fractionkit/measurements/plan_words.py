"""A plan of readings in sentences and as JSON, schema ``fractionkit/reading-plan/1``."""

from __future__ import annotations

from typing import Any

from fractionkit.files import json_text as text_of
from fractionkit.files import number
from fractionkit.measurements.reach import USUAL, PairPlan, Reach, ReadingNeed
from fractionkit.quantities import COVERAGE_95

SCHEMA = "fractionkit/reading-plan/1"
# SI to what is shown: factor, unit, and the word for a standard uncertainty at a 95 % half-width
SHOWN = {"density": (1e-3, "g/mL"), "head temperature": (1.0, "K"), "refractive index": (1.0, "")}


def half_width(need: ReadingNeed, u: float) -> str:
    """A standard uncertainty as "± 0.0012 g/mL", a 95 % half-width."""
    factor, unit = SHOWN[need.kind]
    return f"± {COVERAGE_95 * factor * u:.2g} {unit}".rstrip()


def per_wt_percent(need: ReadingNeed) -> str:
    """Change of a reading for a hundredth of mass fraction: "0.0012 g/mL per wt%"."""
    factor, unit = SHOWN[need.kind]
    return f"{0.01 * factor * need.per_unit:.2g} {unit} per wt%".replace("  ", " ")


def tells(way: Reach) -> str:
    """What a way tells: "0.84 wt%", or that it tells nothing."""
    return "nothing" if way.tells >= 1.0 else f"{100.0 * way.tells:.2g} wt%"


def sentences(plan: PairPlan) -> tuple[str, ...]:
    """The answer, kind of reading by kind of reading."""
    told = [_density_verdict(plan)]
    for need in plan.readings:
        if need.missing:
            told.append(f"{need.kind.capitalize()}: {need.missing}.")
        elif need.instrument is None:
            told.append(
                f"{need.kind.capitalize()}: to show {_purity(plan)} the reading and its reference together need "
                f"{half_width(need, need.needed)}, but the reference values alone are uncertain by "
                f"{half_width(need, need.reference)}: no instrument is enough, unless it is set with a sample of "
                f"{plan.target} of known purity."
            )
        else:
            told.append(
                f"{need.kind.capitalize()}: to show {_purity(plan)} the instrument needs "
                f"{half_width(need, need.instrument)} or better (reference values {half_width(need, need.reference)})."
            )
    told.append(_what_can(plan))
    return tuple(told)


def _purity(plan: PairPlan) -> str:
    return f"{100.0 * plan.purity:.6g} wt% {plan.target}"


def _density_verdict(plan: PairPlan) -> str:
    grams = f"{1e-3 * plan.density_per_wt_percent:.2g} g/mL per wt%"
    if plan.told_by_density:
        return f"Density tells {plan.target} from {plan.other}: {grams} on the whole."
    usual = next(way for way in plan.readings[0].ways if way.way == USUAL)
    return (
        f"Density cannot tell {plan.target} from {plan.other} at the bench: {grams} on the whole; a pycnometer, with the "
        f"reference values, leaves {tells(usual)} open."
    )


def _what_can(plan: PairPlan) -> str:
    enough = plan.enough()
    if enough:
        listed = "; ".join(f"{kind} by {way.way} (to {tells(way)})" for kind, way in enough[:4])
        return f"{_purity(plan)} can be shown by: {listed}."
    best = "; ".join(f"{kind} by {way.way}, to {tells(way)}" for kind, way in plan.best())
    return (
        f"No reading listed can show {_purity(plan)} on its own. The best of each kind: {best}. Several readings together, "
        "a reference sample, or a laboratory can do more."
    )


def as_json(plans: tuple[PairPlan, ...]) -> dict[str, Any]:
    """The plans, ready for `json.dumps`: uncertainties as 95 % half-widths in bench units, fractions 0-1."""
    return {
        "schema": SCHEMA,
        "target": plans[0].target,
        "purity": plans[0].purity,
        "confidence": plans[0].confidence,
        "pairs": [_pair(plan) for plan in plans],
    }


def json_text(plans: tuple[PairPlan, ...]) -> str:
    """The plans as text."""
    return text_of(as_json(plans))


def _pair(plan: PairPlan) -> dict[str, Any]:
    return {
        "other": plan.other,
        "density_g_per_mL_per_wt_percent": number(1e-3 * plan.density_per_wt_percent),
        "told_apart_by_density": plan.told_by_density,
        "readings": [_need(need) for need in plan.readings],
        "enough": [f"{kind}: {way.way}" for kind, way in plan.enough()],
        "text": list(sentences(plan)),
    }


def _need(need: ReadingNeed) -> dict[str, Any]:
    factor, unit = SHOWN[need.kind]
    half = COVERAGE_95 * factor
    return {
        "reading": need.kind,
        "unit": unit,
        "change_per_wt_percent": number(0.01 * factor * need.per_unit),
        "needed_half_width": number(half * need.needed),
        "reference_half_width": number(half * need.reference),
        "instrument_half_width": None if need.instrument is None else number(half * need.instrument),
        "reference_is_the_limit": not need.missing and need.instrument is None,
        "ways": [
            {
                "way": way.way,
                "half_width": number(half * way.u),
                "tells": number(way.tells),
                "enough": way.enough,
                "source": way.source,
            }
            for way in need.ways
        ],
        "missing": need.missing or None,
    }
