"""The audit: each constant of a substance against what the other sources say; an outlier must be explained.

``audit`` returns sentences, one a finding; an empty tuple means that the data file may stand. The tests run it over
the whole catalogue, with the values of the packages, of CoolProp and of the published tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

from fractionkit.substances.model import NORMAL_PRESSURE, SourceValue, Substance

#: A source is an outlier when it stands more than this many standard uncertainties from the catalogue's value.
OUTLIER = 3.0
#: Least standard uncertainty of a density [kg/m3].
LEAST_DENSITY_U = 0.3
#: The range of an Antoine set may end this far [K] before the boiling point: over so little, the straight line in 1/T
#: that continues it departs by less than 0.2 % in p.
RANGE_SLACK = 7.0


class Comparison(NamedTuple):
    """One value of another source beside the catalogue's, SI; ``score`` is the distance in standard uncertainties."""

    source: SourceValue
    value: float
    u: float
    score: float


def compare(substance: Substance, others: Iterable[SourceValue]) -> tuple[Comparison, ...]:
    """Put other sources' values beside the catalogue's, at the same temperature."""
    found = []
    for other in others:
        value, u = catalogue_value(substance, other.property, other.temperature)
        found.append(Comparison(other, value, u, (other.value - value) / u))
    return tuple(found)


def catalogue_value(substance: Substance, name: str, temperature: float | None) -> tuple[float, float]:
    """Value and standard uncertainty (SI) of a property, at ``temperature`` [K] where it depends on it.

    Raises
    ------
    KeyError
        if the substance has no such property.

    """
    if name == "boiling_point":
        return substance.boiling_point.value, substance.boiling_point.u
    if name == "heat_of_vaporization":
        return substance.heat_of_vaporization.value, substance.heat_of_vaporization.u
    fit = {"density": substance.density, "refractive_index": substance.refractive_index}.get(name)
    if temperature is not None and name == "vapour_pressure":
        pressure = math.exp(float(substance.vapour_pressure.ln_pressure(temperature)))
        return pressure, pressure * float(substance.vapour_pressure.u_at(temperature))
    if fit is None or temperature is None:
        raise KeyError(f"{substance.name} has no {name} at {temperature}")
    return float(fit.at(temperature)), float(fit.u_at(temperature))


def audit(substance: Substance, others: Iterable[SourceValue]) -> tuple[str, ...]:
    """Everything that is wrong with a substance's constants, as sentences."""
    findings = list(_own_consistency(substance))
    explained = {(outlier.property, outlier.source) for outlier in substance.outliers}
    outlying = set()
    for entry in compare(substance, others):
        key = (entry.source.property, entry.source.source)
        if abs(entry.score) > OUTLIER:
            outlying.add(key)
            if key not in explained:
                findings.append(_sentence(substance, entry))
    for name, source in sorted(explained - outlying):
        findings.append(f"{substance.name}: {name} of {source} is listed as an outlier but is none")
    return tuple(findings)


def _sentence(substance: Substance, entry: Comparison) -> str:
    other = entry.source
    at = "" if other.temperature is None else f" at {other.temperature:.2f} K"
    return (
        f"{substance.name}: {other.property}{at} is {other.value:.6g} in {other.source!r}, here {entry.value:.6g} "
        f"with u = {entry.u:.2g} ({entry.score:+.1f} u): correct the value, widen u, or list it under [[outliers]]"
    )


def _own_consistency(substance: Substance) -> Iterable[str]:
    """Checks that need no other source."""
    accepted = substance.boiling_point
    curve = substance.vapour_pressure
    solved = float(curve.boiling_temperature(NORMAL_PRESSURE))
    if abs(solved - accepted.value) > accepted.u:
        yield f"{substance.name}: the Antoine set boils at {solved:.3f} K, accepted {accepted.value:.3f} ± {accepted.u}"
    implied = accepted.u * float(curve.dln_pressure_dT(accepted.value))
    if curve.u_ln < 0.7 * implied:
        yield f"{substance.name}: u_ln = {curve.u_ln} is narrower than the boiling point allows ({implied:.4f})"
    if not curve.t_min - RANGE_SLACK <= accepted.value <= curve.t_max + RANGE_SLACK:
        yield f"{substance.name}: the range of the Antoine set does not reach the boiling point"
    if substance.density.u < LEAST_DENSITY_U:
        yield f"{substance.name}: u of the density is below {LEAST_DENSITY_U} kg/m3"
    if substance.density.slope >= 0.0:
        yield f"{substance.name}: the density must fall with temperature"
