"""Readings of aliquots as evidence, and each reading turned into the mass fraction that is followed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.levelling import Signal
from fractionkit.aliquots.sensors import sensors_of
from fractionkit.composition.evidence import Evidence, nothing
from fractionkit.mixture import Mixture
from fractionkit.readings import DensityReadings, Place, Vessel, correct_densities, correct_indices
from fractionkit.readings.atmosphere import STANDARD_PRESSURE
from fractionkit.sheets.aliquots import AliquotSeries

Array = NDArray[np.float64]

ROOM = 293.15  # K
FLAT = 1e-9  # kg/m3, or index, per unit of mass fraction: less is no slope at all


def evidence_of(series: AliquotSeries, mixture: Mixture) -> tuple[Evidence, tuple[str, ...]]:
    """Corrected readings of the samples, one vessel a sample, and warnings of what the method cannot answer.

    Raises
    ------
    InputError
        for readings that no bench can show.
    """
    samples, entry = series.samples, series.density
    rows = [int(row) for row in samples.row]
    middle = np.full(mixture.n, 1.0 / mixture.n)
    slope = float(mixture.density(middle, ROOM + 0.5) - mixture.density(middle, ROOM - 0.5))
    weighed = None
    if entry.empty_mass is not None and entry.water_mass is not None and entry.water_temperature is not None:
        weighed = Vessel(entry.empty_mass, entry.water_mass, entry.water_temperature)
    pure = mixture.density(np.eye(mixture.n), ROOM)
    place = mixture.names.index(series.follow)
    span = float(np.abs(np.delete(pure, place) - pure[place]).min())
    densities = correct_densities(
        DensityReadings.of(
            samples.density,
            samples.density_temperature,
            is_gravity=samples.density_is_gravity,
            basis=samples.sg_basis,
            filled_mass=samples.filled_mass,
        ),
        method=entry.method,
        bias=entry.bias,
        repeat=entry.repeat,
        weighed=weighed,
        calibration_temperature=entry.calibration_temperature,
        thermometer_bias=entry.thermometer_bias,
        thermometer_repeat=entry.thermometer_repeat,
        slope=slope,
        span=span if series.tolerance is not None else None,
        wanted=series.tolerance,
        file=str(series.table_file),
        rows=rows,
    )
    index = correct_indices(
        samples.refractive_index,
        samples.refractive_temperature,
        bias=series.refractive_index.bias,
        repeat=series.refractive_index.repeat,
        place=Place("refractive_index", str(series.table_file), rows),
    )
    none = nothing(len(samples))
    names = tuple(f"{number}" for number in range(1, len(samples) + 1))
    evidence = Evidence(
        names, STANDARD_PRESSURE, 0.0, none, none, none, none,
        densities.measured, densities.temperature, index, samples.refractive_temperature,
    )  # fmt: skip
    return evidence, (*densities.measured.warnings, *index.warnings)


def _expansion(mixture: Mixture, evidence: Evidence, mean: Array) -> Array:
    """Change (K,) of the densities, kg/m3, for one standard deviation of the liquid's thermal expansion.

    Each component's is its own: d rho = sum w_i (rho/rho_i)^2 d rho_i, volumes adding, and d rho_i = u_slope_i (T - middle).
    """
    warm = evidence.density_temperature
    away = np.where(np.isfinite(warm), warm - np.nanmean(warm), 0.0)
    pure = mixture.density(np.eye(mixture.n), ROOM)
    parts = mean * (mixture.density(mean, ROOM)[:, None] / pure) ** 2 * mixture.constants.volume.u_slope
    return np.asarray(away * np.sqrt((parts**2).sum(axis=1)))


def signals_of(mixture: Mixture, evidence: Evidence, mean: Array, followed: int) -> list[Signal]:
    """Each kind of reading as mass fraction of component ``followed``: a step of Newton's method from ``mean`` (K, n).

    Not held within 0-100 %, so that the errors stay normal. Two components: one signal a kind, their constant offsets
    apart. Three: one signal from density and index together, NaN where either is missing.
    """
    _, sensors = sensors_of(mixture, evidence)
    base = mean[:, followed]
    misfits = [np.where(s.precision > 0.0, s.reading - s.predict(mean), np.nan) for s in sensors]
    slopes = [s.slope(mean) for s in sensors]
    with np.errstate(divide="ignore"):
        sds = [1.0 / np.sqrt(s.precision) for s in sensors]
    if mixture.n == 2:
        sign = 1.0 if followed == 0 else -1.0
        steep = [np.where(np.abs(slope[:, 0]) > FLAT, sign * slope[:, 0], np.nan) for slope in slopes]
        found = [
            Signal(base + gap / g, np.where(np.isfinite(gap), sd / np.abs(g), np.nan))
            for gap, g, sd in zip(misfits, steep, sds, strict=True)
        ]
        if np.isfinite(evidence.density.value).any():  # the first kind
            found[0] = replace(found[0], drift=_expansion(mixture, evidence, mean) / steep[0])
        return found
    if len(sensors) < 2:
        return []
    gap, slope, sd = np.stack(misfits, axis=1), np.stack(slopes, axis=1), np.stack(sds, axis=1)
    determinant = slope[:, 0, 0] * slope[:, 1, 1] - slope[:, 0, 1] * slope[:, 1, 0]
    good = np.isfinite(gap).all(axis=1) & np.isfinite(sd).all(axis=1) & (np.abs(determinant) > FLAT**2)
    inverse = np.full(slope.shape, np.nan)
    inverse[good] = np.linalg.inv(slope[good])
    row = inverse[:, followed] if followed < 2 else -inverse.sum(axis=1)
    value = base + (row * gap).sum(axis=1)
    sd_squared = (row**2 * np.where(good[:, None], sd, 1.0) ** 2).sum(axis=1)
    return [Signal(value, np.where(good, np.sqrt(sd_squared), np.nan))]
