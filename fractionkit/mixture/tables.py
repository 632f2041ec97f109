"""The stored pair tables: NRTL parameters and excess volumes, each row with origin, source, status and u."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files


@dataclass(frozen=True)
class ActivityPair:
    """NRTL parameters of one pair: tau_ij = a_ij + b_ij/T.

    u, u_asymmetry : standard uncertainties of the two Margules amplitudes of the error of ln gamma, see `Activity`.
    """

    first: str
    second: str
    a_ij: float
    a_ji: float
    b_ij: float
    b_ji: float
    alpha: float
    u: float
    u_asymmetry: float
    origin: str
    source: str
    status: str

    def swapped(self) -> ActivityPair:
        """Return the same pair with the components in the other order."""
        return ActivityPair(
            self.second, self.first, self.a_ji, self.a_ij, self.b_ji, self.b_ij, self.alpha,
            self.u, self.u_asymmetry, self.origin, self.source, self.status,
        )  # fmt: skip


@dataclass(frozen=True)
class ExcessVolume:
    """Excess volume of one pair at x = 0.5, m3/mol, with its standard uncertainty.

    skew : m3/mol, V^E = 4 x_1 x_2 (value + skew (x_1 - x_2)), 0 where nothing is known of it; u covers what both leave out.
    """

    first: str
    second: str
    value: float
    u: float
    skew: float
    source: str
    status: str

    def swapped(self) -> ExcessVolume:
        """Return the same pair with the components in the other order."""
        return ExcessVolume(self.second, self.first, self.value, self.u, -self.skew, self.source, self.status)


@lru_cache(maxsize=1)
def activity_pairs() -> dict[tuple[str, str], ActivityPair]:
    """All pairs of the catalogue, each under both orders of its names."""
    table: dict[tuple[str, str], ActivityPair] = {}
    for row in _rows("activity_pairs.csv"):
        pair = ActivityPair(
            row["first"], row["second"],
            float(row["a_ij"]), float(row["a_ji"]), float(row["b_ij_K"]), float(row["b_ji_K"]),
            float(row["alpha"]), float(row["u"]), float(row["u_asymmetry"]),
            row["origin"], row["source"], row["status"],
        )  # fmt: skip
        table[pair.first, pair.second] = pair
        table[pair.second, pair.first] = pair.swapped()
    return table


@lru_cache(maxsize=1)
def excess_volumes() -> dict[tuple[str, str], ExcessVolume]:
    """Pairs whose excess volume is known (both orders), and family pairs under ``family:`` names."""
    table: dict[tuple[str, str], ExcessVolume] = {}
    for row in _rows("excess_volume.csv"):
        scale = 1e-6  # the file is in cm3/mol, the trade's unit
        value = ExcessVolume(
            row["first"], row["second"], scale * float(row["v_cm3_mol"]), scale * float(row["u_cm3_mol"]),
            scale * float(row["skew_cm3_mol"] or 0.0), row["source"], row["status"],
        )  # fmt: skip
        table[value.second, value.first] = value.swapped()
        table[value.first, value.second] = value
    return table


def _rows(name: str) -> list[dict[str, str]]:
    text = files("fractionkit.mixture").joinpath("data", name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))
