"""One reading in SI, as ``parse`` returns it."""

from __future__ import annotations

from dataclasses import dataclass

COVERAGE_95 = 1.959964
"""Half-width of the central 95 % of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class Quantity:
    """One reading in SI.

    Attributes
    ----------
    value : float
        SI value.
    u : float or None
        SI standard uncertainty, None when no "±" was written (the written half-width covers 95 %).
    kind : str
        One of ``KINDS``; a density typed as specific gravity has kind "specific_gravity".
    text : str
        As typed.
    basis : (float, float) or None
        Temperatures (sample, water) in °C of a specific gravity, None for all else.
    last_digit : float or None
        SI size of the last digit typed: 0.1 g for "48.4 g", 0.001 g for "48.400 g". What a balance resolves.

    """

    value: float
    u: float | None
    kind: str
    text: str
    basis: tuple[float, float] | None = None
    last_digit: float | None = None

    @property
    def half_width(self) -> float | None:
        """95 % half-width in SI, None when no "±" was written."""
        return None if self.u is None else COVERAGE_95 * self.u


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % coverage interval."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class Flag:
    """Something the user must know, with a stable code and a sentence in plain words."""

    code: str
    text: str
