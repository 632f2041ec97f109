"""What stands around the figures: sides of the balance, curves for the pictures, constants and cautions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.assessment.model import Caution, Constant, Curve, PlottedReadings
from fractionkit.balance import Side, weighing_u
from fractionkit.composition import CorrectedRun, RunPosterior
from fractionkit.mixture import Mixture
from fractionkit.quantities import COVERAGE_95, Quantity
from fractionkit.sheets import ChargeEntry, Run
from fractionkit.substances import cited

Array = NDArray[np.float64]

ROOM = 293.15  # K, where densities are compared when none was read
CURVE_POINTS = 201


def sides(run: Run, posterior: RunPosterior) -> tuple[Side | None, Side | None, Side | None]:
    """Charge, residue and hold-up, None where the sheet says nothing of their mass."""
    holdup = None if run.holdup is None else Side(run.holdup.value, _mass_u(run.holdup))
    return _side(run.charge, posterior.charge), _side(run.residue, posterior.residue), holdup


def _mass_u(mass: Quantity) -> float:
    return float(weighing_u(mass.value)) if mass.u is None else mass.u


def _side(entry: ChargeEntry | None, composition: Array | None) -> Side | None:
    if entry is None or entry.mass is None:
        return None
    return Side(entry.mass.value, _mass_u(entry.mass), composition)


def leading_pair(run: Run, posterior: RunPosterior) -> tuple[int, int]:
    """The target and the component that mainly accompanies it; without a target the two most abundant."""
    amount = posterior.mean.sum(axis=0)
    first = run.components.index(run.target.component) if run.target else int(amount.argmax())
    rest = amount.copy()
    rest[first] = -1.0
    return first, int(rest.argmax())


def curve(mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, run: Run) -> Curve:
    """Density, bubble and dew point along the leading pair, with the model's own uncertainty of density."""
    first, second = leading_pair(run, posterior)
    taken = corrected.evidence.density_temperature[np.isfinite(corrected.evidence.density.value)]
    temperature = float(np.median(taken)) if taken.size else ROOM
    fraction = np.linspace(0.0, 1.0, CURVE_POINTS)
    w = np.zeros((CURVE_POINTS, mixture.n))
    w[:, first], w[:, second] = fraction, 1.0 - fraction
    x = mixture.mole_fractions(w)
    pressure = corrected.evidence.pressure
    density = mixture.density(w, temperature)
    return Curve(
        mixture.names[first],
        mixture.names[second],
        fraction,
        density,
        np.sqrt((mixture.density_errors(w, temperature) ** 2).sum(axis=-1)),
        temperature,
        mixture.bubble_point(x, pressure)[0],
        mixture.dew_point(x, pressure)[0],
        fraction * density[-1] + (1.0 - fraction) * density[0],
    )


def plotted(
    mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, mass: Array, line: Curve
) -> PlottedReadings:
    """Corrected readings for the pictures; densities moved to the line's temperature along the mixture's own slope."""
    evidence = corrected.evidence
    cuts = slice(0, evidence.cuts)
    read_at = evidence.density_temperature[cuts]
    read_at = np.where(np.isnan(read_at), line.temperature, read_at)
    moved = mixture.density(posterior.mean, line.temperature) - mixture.density(posterior.mean, read_at)
    shared = sum((np.nan_to_num(part) ** 2 for part in evidence.density.shared.values()), np.zeros(evidence.size))
    u = np.sqrt(evidence.density.repeat**2 + shared)[cuts]
    density = evidence.density.value[cuts] + moved
    return PlottedReadings(evidence.head_start.value[cuts], evidence.head_end.value[cuts], density, u, mass)


def constants(mixture: Mixture) -> tuple[Constant, ...]:
    """Constants that the inference used, with their sources; uncertainties as 95 % half-widths."""
    found = []
    for s in mixture.substances:
        boiling, vapour, density = s.boiling_point, s.vapour_pressure, s.density
        found += [
            Constant(
                f"{s.name}: boiling point at 101.325 kPa",
                f"{boiling.value - 273.15:.2f} ± {COVERAGE_95 * boiling.u:.2g} °C",
                cited(boiling.source, boiling.status),
            ),
            Constant(
                f"{s.name}: vapour pressure, log10(p/Pa) = A - B/(T/K + C)",
                f"A = {vapour.A:.6g}, B = {vapour.B:.7g}, C = {vapour.C:.6g}, "
                f"± {100 * COVERAGE_95 * vapour.u_ln:.2g} % ({vapour.t_min - 273.15:.0f} to {vapour.t_max - 273.15:.0f} °C)",
                cited(vapour.source, vapour.status),
            ),
            Constant(
                f"{s.name}: density at {density.t_ref - 273.15:.0f} °C",
                f"{density.rho_ref / 1000:.4f} ± {COVERAGE_95 * density.u / 1000:.1g} g/mL, "
                f"{density.slope / 1000:+.5f} g/mL per K",
                cited(density.source, density.status),
            ),
        ]
    for first, second, activity, volume in mixture.pair_sources():
        found.append(Constant(f"{first} + {second}: activity", "NRTL", activity))
        found.append(Constant(f"{first} + {second}: excess volume", "Redlich-Kister", volume))
    return tuple(found)


def cautions(components: tuple[str, ...]) -> tuple[Caution, ...]:
    """Cautions of the substances in the sheet and of their combination."""
    from fractionkit.substances.cautions import cautions as found

    return tuple(Caution(c.substance, c.kind, c.text, cited(c.source, c.status)) for c in found(components))
