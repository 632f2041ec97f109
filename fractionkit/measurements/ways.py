"""Ways of reading with the standard uncertainty that each has when nobody says better: one fresh reading, bias included."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fractionkit.readings.methods import METHODS
from fractionkit.readings.pressure import STATION_U
from fractionkit.readings.refractometer import DEFAULT_U as INDEX_U
from fractionkit.readings.refractometer import THERMOMETER_U, TYPICAL_SLOPE
from fractionkit.readings.thermometer import DEFAULT_U as HEAD_U

# What better instruments leave (common practice, no source): a thermometer held against ice and steam, and a barometer
# held against a weather station's or a phone's sensor at the bench.
CALIBRATED_BIAS = 0.15  # K
BAROMETER_U = 50.0  # Pa
REPEAT = 0.1  # K, a thermometer with divisions of 0.2 K or a digital one

_DEFAULTS = "common practice, no source; the defaults of this tool"


@dataclass(frozen=True)
class Way:
    """A way of reading: its name, standard uncertainty of one reading (SI), and where that comes from."""

    name: str
    u: float
    source: str


def by_density(density: float, slope: float) -> tuple[Way, ...]:
    """Ways of measuring a density near ``density`` (kg/m3), ``slope`` = d rho/dT (kg/m3/K): the thermometer is in u."""
    found = []
    for name, method in METHODS.items():
        if name is None:
            continue
        own = (float(method.bias_of(density)), float(method.repeat_of(density)))
        warm = [slope * u for u in method.thermometer]
        found.append(Way(name, math.hypot(*own, *warm), method.source))
    return tuple(sorted(found, key=lambda way: way.u))


def by_head(slope: float, pressure: float, pressure_u: float | None) -> tuple[Way, ...]:
    """Ways of reading a head temperature; ``slope`` = dT/dlnP (K) carries the pressure's uncertainty (Pa) into u."""
    read = STATION_U if pressure_u is None else pressure_u
    barometer = BAROMETER_U if pressure_u is None else pressure_u
    found = [
        Way(f"{name} thermometer, as bought", math.hypot(*u, slope * read / pressure), _DEFAULTS)
        for name, u in HEAD_U.items()
        if name is not None
    ]
    both = math.hypot(CALIBRATED_BIAS, REPEAT, slope * barometer / pressure)
    found.append(Way("thermometer set in ice and steam, barometer", both, _DEFAULTS))
    return tuple(sorted(found, key=lambda way: way.u))


def by_index() -> tuple[Way, ...]:
    """Ways of reading a refractive index, the prism's thermometer in u."""
    warm = [TYPICAL_SLOPE * u for u in THERMOMETER_U]
    found = [
        Way(f"{name} refractometer", math.hypot(*u, *warm), _DEFAULTS)
        for name, u in INDEX_U.items()
        if name is not None
    ]
    return tuple(sorted(found, key=lambda way: way.u))
