"""Readings of aliquots as evidence, and each reading turned into the mass fraction that is followed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.aliquots.levelling import Signal
from fractionkit.composition.evidence import Evidence, nothing
from fractionkit.mixture import Mixture
from fractionkit.readings import DensityReadings, Place, Vessel, correct_densities, correct_indices
from fractionkit.readings.atmosphere import STANDARD_PRESSURE
from fractionkit.sheets.aliquots import AliquotSeries

Array = NDArray[np.float64]

ROOM = 293.15  # K
STEP = 1e-4  # mass fraction, for the slope of an index
EDGE = 1e-3  # by which the slope is taken inside the simplex, so that a step fits on either side
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


def signals_of(mixture: Mixture, evidence: Evidence, mean: Array, followed: int) -> list[Signal]:
    """Each kind of reading as mass fraction of component ``followed``: a step of Newton's method from ``mean`` (K, n).

    Not held within 0-100 %, so that the errors stay normal. Two components: one signal a kind, their constant offsets
    apart. Three: one signal from density and index together, NaN where either is missing.
    """
    sensed = [kind for kind in (_density(mixture, evidence, mean), _index(mixture, evidence, mean)) if kind is not None]
    base = mean[:, followed]
    if mixture.n == 2:
        sign = 1.0 if followed == 0 else -1.0
        steps = [(misfit, np.where(np.abs(slope[:, 0]) > FLAT, sign * slope[:, 0], np.nan), sd)
                 for misfit, slope, sd in sensed]  # fmt: skip
        return [Signal(base + misfit / slope, sd / np.abs(slope)) for misfit, slope, sd in steps]
    if len(sensed) < 2:
        return []
    misfit = np.stack([kind[0] for kind in sensed], axis=-1)
    slopes = np.stack([kind[1] for kind in sensed], axis=-2)  # (K, kinds, n - 1)
    sd = np.stack([kind[2] for kind in sensed], axis=-1)
    determinant = slopes[:, 0, 0] * slopes[:, 1, 1] - slopes[:, 0, 1] * slopes[:, 1, 0]
    good = np.isfinite(misfit).all(axis=1) & np.isfinite(sd).all(axis=1) & (np.abs(determinant) > FLAT**2)
    inverse = np.full(slopes.shape, np.nan)
    inverse[good] = np.linalg.inv(slopes[good])
    row = inverse[:, followed] if followed < 2 else -inverse.sum(axis=1)
    value = base + (row * misfit).sum(axis=1)
    return [Signal(value, np.sqrt((row**2 * sd**2).sum(axis=1)))]


_Sensed = tuple[Array, Array, Array]


def _density(mixture: Mixture, evidence: Evidence, w: Array) -> _Sensed | None:
    """Misfit (K,), slope against the first n - 1 components (K, n - 1), the last one giving way, and fresh sd (K,)."""
    kind = evidence.density
    if not np.isfinite(kind.value).any():
        return None
    T = np.nan_to_num(evidence.density_temperature, nan=ROOM)
    gradient = mixture.density_gradient(w, T)
    return kind.value - mixture.density(w, T), gradient[:, :-1] - gradient[:, -1:], kind.repeat


def _index(mixture: Mixture, evidence: Evidence, w: Array) -> _Sensed | None:
    """The same of the refractive index; its slope by central differences."""
    kind = evidence.index
    if not np.isfinite(kind.value).any():
        return None
    T = np.nan_to_num(evidence.index_temperature, nan=ROOM)
    inside = (w + EDGE / mixture.n) / (1.0 + EDGE)
    slopes = []
    for j in range(mixture.n - 1):
        step = np.zeros(mixture.n)
        step[j], step[-1] = STEP, -STEP
        ahead, behind = (mixture.refractive_index(inside + sign * step, T) for sign in (1.0, -1.0))
        slopes.append((ahead - behind) / (2.0 * STEP))
    return kind.value - mixture.refractive_index(w, T), np.stack(slopes, axis=-1), kind.repeat
