"""Pieces that the JSON documents share: figures never NaN, intervals, sources, cautions, flags."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

from fractionkit.assessment.model import Caution, Constant
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction

_DIGITS = 12  # enough for every figure here, and 0.123 kg comes out as 123 g


def text_of(document: Mapping[str, Any]) -> str:
    """Write a document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def number(value: float | None, factor: float = 1.0) -> float | None:
    """A figure in the document's unit, None where there is none."""
    if value is None:
        return None
    figure = float(value) * factor
    return float(f"{figure:.{_DIGITS}g}") if math.isfinite(figure) else None


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
