"""Pieces that the JSON documents share: figures never NaN, intervals, sources, cautions, flags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fractionkit.assessment.model import Caution, Constant
from fractionkit.files import json_text as text_of
from fractionkit.files import number
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction

__all__ = ["cautions", "composition", "constants", "corrections", "estimate", "flags", "number", "text_of"]


def estimate(made: Estimate, factor: float = 1.0) -> dict[str, float | None]:
    """A value with its 95 % interval."""
    return {name: number(getattr(made, name), factor) for name in ("estimate", "low", "high")}


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
