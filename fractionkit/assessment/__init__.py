"""The assessed run: all rooms together on one run sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.assessment.model import Assessment

if TYPE_CHECKING:
    from fractionkit.assessment.assessing import assess

__all__ = ["Assessment", "assess"]


def __getattr__(name: str) -> object:
    """Import the inference when a run is first assessed: what only reads an assessment does not pay for it."""
    if name != "assess":
        raise AttributeError(f"module 'fractionkit.assessment' has no attribute {name!r}")
    from fractionkit.assessment.assessing import assess as found

    return found
