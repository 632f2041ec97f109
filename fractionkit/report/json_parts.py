"""Pieces that the JSON documents share: figures never NaN, intervals, sources, cautions, flags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, overload

from fractionkit.assessment.model import Caution, Constant
from fractionkit.files import json_text as text_of
from fractionkit.files import number
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction

__all__ = ["cautions", "composition", "constants", "corrections", "estimate", "flags", "number", "target", "text_of"]


@overload
def estimate(made: Estimate, factor: float = 1.0) -> dict[str, float | None]: ...


@overload
def estimate(made: Estimate | None, factor: float = 1.0) -> dict[str, float | None] | None: ...


def estimate(made: Estimate | None, factor: float = 1.0) -> dict[str, float | None] | None:
    """A value with its 95 % interval, None where there is none."""
    if made is None:
        return None
    return {name: number(getattr(made, name), factor) for name in ("estimate", "low", "high")}


def target(component: str, purity: float | None, confidence: float | None) -> dict[str, Any]:
    """What is wanted."""
    return {"component": component, "purity": number(purity), "confidence": number(confidence)}


def composition(made: Mapping[str, Estimate]) -> dict[str, Any]:
    """Mass fractions by component."""
    return {name: estimate(part) for name, part in made.items()}


def flags(made: Iterable[Flag]) -> list[dict[str, str]]:
    """What the user must know, with its stable code."""
    return [{"code": flag.code, "text": flag.text} for flag in made]


def corrections(made: Iterable[Correction]) -> list[dict[str, Any]]:
    """Corrections of readings with their sources."""
    return [
        {
            "what": step.what,
            "change": number(step.change),
            "u": number(step.u),
            "unit": step.unit,
            "source": step.source,
        }
        for step in made
    ]


def constants(made: Iterable[Constant]) -> list[dict[str, str]]:
    """Constants with their sources."""
    return [{"what": c.what, "value": c.value, "source": c.source} for c in made]


def cautions(made: Iterable[Caution]) -> list[dict[str, str]]:
    """Cautions with their sources."""
    return [{"substance": c.substance, "kind": c.kind, "text": c.text, "source": c.source} for c in made]
