"""What `fractionkit substance` tells, as plain records: the JSON, and the comparison that the table prints too."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fractionkit.substances import Substance, spread
from fractionkit.substances.cautions import cautions, exposure_limits, hazard_statements, headline

SCHEMA = "fractionkit/substance/1"
CATALOGUE_SCHEMA = "fractionkit/substances/1"
ZERO_CELSIUS = 273.15
#: Room temperature [K] at which density, refractive index and vapour pressure are told.
ROOM = 293.15
#: Property -> (words, unit at the bench, factor and offset from SI to that unit, decimals).
PROPERTIES: dict[str, tuple[str, str, float, float, int]] = {
    "boiling_point": ("boiling point at 101.325 kPa", "°C", 1.0, -ZERO_CELSIUS, 2),
    "density": ("density", "g/mL", 1e-3, 0.0, 4),
    "refractive_index": ("refractive index nD", "", 1.0, 0.0, 4),
    "heat_of_vaporization": ("heat of vaporization", "kJ/mol", 1e-3, 0.0, 2),
}


@dataclass(frozen=True)
class Comparison:
    """One other source beside the catalogue, in bench units; ``temperature`` in °C where the property has one."""

    property: str
    unit: str
    source: str
    temperature: float | None
    value: float
    catalogue: float
    difference: float
    u: float
    reason: str | None  # why this source is known to be off


def _catalogue_value(substance: Substance, name: str, temperature: float | None) -> tuple[float, float] | None:
    """The catalogue's value and standard uncertainty (SI) of a property, at ``temperature`` [K] if it has one."""
    if name == "boiling_point":
        return substance.boiling_point.value, substance.boiling_point.u
    if name == "heat_of_vaporization":
        return substance.heat_of_vaporization.value, substance.heat_of_vaporization.u
    fit = substance.density if name == "density" else substance.refractive_index
    if fit is None or temperature is None:
        return None
    return float(fit.at(temperature)), float(fit.u_at(temperature))


def comparisons(substance: Substance, audit: bool = False) -> tuple[Comparison, ...]:
    """Each other source beside the catalogue; with ``audit`` computed now from the packages, else as stored."""
    values = spread(substance)
    if audit:
        from fractionkit.substances.packages import source_values

        values = source_values(substance.cas, substance.boiling_point.value)
    reasons = {(outlier.property, outlier.source): outlier.reason for outlier in substance.outliers}
    rows = []
    for entry in values:
        own = _catalogue_value(substance, entry.property, entry.temperature)
        if own is None:
            continue
        _, unit, factor, offset, _ = PROPERTIES[entry.property]
        celsius = None if entry.temperature is None else round(entry.temperature - ZERO_CELSIUS, 6)
        rows.append(
            Comparison(
                entry.property,
                unit,
                entry.source,
                celsius,
                entry.value * factor + offset,
                own[0] * factor + offset,
                (entry.value - own[0]) * factor,
                own[1] * factor,
                reasons.get((entry.property, entry.source)),
            )
        )
    return tuple(rows)


def _constants(substance: Substance) -> dict[str, Any]:
    """The constants in bench units; every ``u`` is a standard uncertainty."""
    mass, boiling, heat = substance.molar_mass, substance.boiling_point, substance.heat_of_vaporization
    pressure, density, index = substance.vapour_pressure, substance.density, substance.refractive_index
    return {
        "molar_mass_g_per_mol": _told(mass.value * 1e3, mass.u * 1e3, mass),
        "boiling_point_C": _told(boiling.value - ZERO_CELSIUS, boiling.u, boiling),
        "vapour_pressure": {
            "equation": "log10(p/Pa) = A - B/(T/K + C)",
            "A": pressure.A,
            "B": pressure.B,
            "C": pressure.C,
            "range_C": [round(pressure.t_min - ZERO_CELSIUS, 6), round(pressure.t_max - ZERO_CELSIUS, 6)],
            "u_ln_p": pressure.u_ln,
            "source": pressure.source,
            "status": pressure.status,
        },
        "density_g_per_mL": _told(float(density.at(ROOM)) * 1e-3, float(density.u_at(ROOM)) * 1e-3, density)
        | {
            "at_C": 20.0,
            "slope_per_K": (density.slope + 2.0 * density.curvature * (ROOM - density.t_ref)) * 1e-3,
            "range_C": [round(density.t_min - ZERO_CELSIUS, 6), round(density.t_max - ZERO_CELSIUS, 6)],
        },
        "refractive_index": None
        if index is None
        else _told(float(index.at(ROOM)), float(index.u_at(ROOM)), index) | {"at_C": 20.0, "slope_per_K": index.slope},
        "heat_of_vaporization_kJ_per_mol": _told(heat.value * 1e-3, heat.u * 1e-3, heat),
    }


def _told(value: float, u: float, origin: Any) -> dict[str, Any]:
    return {"value": value, "u": u, "source": origin.source, "status": origin.status}


def record(substance: Substance, audit: bool = False) -> dict[str, Any]:
    """Everything about one substance, schema `SCHEMA`; every ``u`` is a standard uncertainty."""
    return {
        "schema": SCHEMA,
        "name": substance.name,
        "cas": substance.cas,
        "formula": substance.formula,
        "family": substance.family,
        "dissolved": substance.dissolved,
        "synonyms": list(substance.synonyms),
        "constants": _constants(substance),
        "other_sources": [dataclasses.asdict(row) for row in comparisons(substance, audit)],
        "audited_live": audit,
        "conflicts": list(substance.conflicts),
        "headline": headline(substance.name),
        "hazard_statements": [dataclasses.asdict(line) for line in hazard_statements(substance.name)],
        "exposure_limits_ppm": dataclasses.asdict(exposure_limits(substance.name)),
        "cautions": [dataclasses.asdict(line) for line in cautions([substance.name])],
    }


def catalogue_record(entries: Sequence[Substance]) -> dict[str, Any]:
    """Substances as a list, schema `CATALOGUE_SCHEMA`."""
    return {
        "schema": CATALOGUE_SCHEMA,
        "substances": [
            {
                "name": entry.name,
                "cas": entry.cas,
                "formula": entry.formula,
                "family": entry.family,
                "synonyms": list(entry.synonyms),
                "boiling_point_C": entry.boiling_point.value - ZERO_CELSIUS,
                "density_20C_g_per_mL": float(entry.density.at(ROOM)) * 1e-3,
                "headline": headline(entry.name),
            }
            for entry in entries
        ],
    }
