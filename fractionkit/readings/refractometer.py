"""The refractometer: an index reading, its error terms, and the index at another temperature."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.readings.checks import Place, celsius, check_uncertainty, demand, faults_outside
from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]

REFRACTIVE_INDEX, INDEX_TEMPERATURE = "refractive index", "index temperature"

# Standard uncertainties (bias, repeatability) when none is given (common practice, no source). Abbe: division 0.001,
# estimated to 0.0002. Digital: makers promise 0.0001. Hand-held: a scale of sugar, 0.2 Brix or 0.0003 in n at best.
DEFAULT_U: Mapping[str | None, tuple[float, float]] = {
    "abbe": (2e-4, 2e-4),
    "digital": (1e-4, 5e-5),
    "handheld": (1e-3, 5e-4),
    None: (3e-4, 2e-4),
}
# Organic liquids lose 0.00045-0.0006 of index per K; chlorinated solvents 0.0005-0.0006 (common practice, no source).
TYPICAL_SLOPE, TYPICAL_SLOPE_U = -5.5e-4, 0.5e-4
THERMOMETER_U = (0.5, 0.2)  # K, bias and repeat of the prism's thermometer (common practice, no source)
INDEX_LOW, INDEX_HIGH = 1.0, 2.0


def index_at(index: ArrayLike, temperature: ArrayLike, wanted: ArrayLike, slope: ArrayLike = TYPICAL_SLOPE) -> Array:
    """Index moved along a straight line from ``temperature`` to ``wanted`` (K); slope dn/dT in 1/K; all broadcast."""
    step = np.asarray(wanted, dtype=float) - np.asarray(temperature, dtype=float)
    return np.asarray(np.asarray(index, dtype=float) + np.asarray(slope, dtype=float) * step)


def correct_indices(
    reading: ArrayLike,
    temperature: ArrayLike,
    *,
    bias: float | None = None,
    repeat: float | None = None,
    instrument: str | None = None,
    thermometer_bias: float | None = None,
    thermometer_repeat: float | None = None,
    slope: ArrayLike = TYPICAL_SLOPE,
    place: Place | None = None,
) -> Measured:
    """Index readings of a run, at the temperature at which each was read: nothing is moved, the errors are named.

    reading : (K,) index; temperature : (K,) K of the prism; NaN where not taken.
    bias, repeat : standard uncertainties of the index, defaults `DEFAULT_U` by ``instrument`` ("abbe", "digital",
        "handheld"); thermometer_bias, thermometer_repeat : K, defaults `THERMOMETER_U`; slope : (K,) or one, 1/K.
    Returns `Measured` with errors `REFRACTIVE_INDEX` and `INDEX_TEMPERATURE`: where the thermometer shows one standard
        deviation u too much, the index is ``-slope u`` above what belongs to the temperature shown.
    Raises `OutOfRangeError` for an index outside 1-2, a temperature outside -20 to 120 °C, an index without
        temperature; `InputError` for an unknown instrument.
    """
    values = np.atleast_1d(np.asarray(reading, dtype=float))
    warm = np.broadcast_to(np.asarray(temperature, dtype=float), values.shape)
    where = place or Place("refractive_index")
    beside = Place("refractive_temperature", where.file, where.rows)
    expected = "the temperature of the prism beside an index"
    missing = [beside.of(int(i), "", expected) for i in np.flatnonzero(~np.isnan(values) & np.isnan(warm))[:20]]
    demand(
        faults_outside(values, INDEX_LOW, INDEX_HIGH, where, "a refractive index from 1 to 2")
        + faults_outside(warm, 253.15, 393.15, beside, "a temperature of the prism from -20 to 120 °C", celsius)
        + missing
    )
    if instrument not in DEFAULT_U:
        known = ", ".join(sorted(name for name in DEFAULT_U if name))
        raise InputError(Fault(instrument, f"a kind of refractometer: {known}", column="refractive_index.instrument"))
    default = DEFAULT_U[instrument]
    u_bias = default[0] if bias is None else bias
    u_repeat = default[1] if repeat is None else repeat
    u_warm = THERMOMETER_U[0] if thermometer_bias is None else thermometer_bias
    u_flutter = THERMOMETER_U[1] if thermometer_repeat is None else thermometer_repeat
    for name, u in (("bias", u_bias), ("repeat", u_repeat), ("thermometer_bias", u_warm), ("repeat", u_flutter)):
        check_uncertainty(u, f"refractive_index.{name}")
    slopes = np.broadcast_to(np.asarray(slope, dtype=float), values.shape)
    shared = {REFRACTIVE_INDEX: np.full(values.shape, u_bias), INDEX_TEMPERATURE: -slopes * u_warm}
    return Measured(values, np.hypot(u_repeat, slopes * u_flutter), shared)
