"""Density by weighing a vessel, by a hydrometer, as specific gravity: the equations, one function each."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.readings.checks import ZERO_CELSIUS
from fractionkit.readings.water import water_density

Array = NDArray[np.float64]

# Balances are adjusted with weights of this conventional density, kg/m3 (OIML D 28, R 111-1), brass or steel alike.
WEIGHTS = 8000.0
# Volume expansion of glass, 1/K. ISO 4787: 9.9e-6 borosilicate 3.3, 27e-6 soda-lime (from memory). ISO 1768:1975: 25e-6
# by convention for glass hydrometers (read in a copy of its clause 3).
BOROSILICATE, SODA_LIME, HYDROMETER_GLASS = 9.9e-6, 27e-6, 25e-6
BUOYANCY_SOURCE = "air buoyancy with weights of 8000 kg/m3 (OIML D 28); vessel as in ISO 4787 and EURAMET cg-19"
HYDROMETER_SOURCE = "glass hydrometer, volume expansion 0.000025 /K (ISO 1768:1975)"


def true_mass(apparent: ArrayLike, density: ArrayLike, air: ArrayLike, weights: float = WEIGHTS) -> Array:
    """Mass from a weighing in air, m = W (1 - a/d) / (1 - a/rho).

    apparent : W, (...) any unit of mass; density : rho of what is weighed, air : a, weights : d, kg/m3; they broadcast.
    Source: NIST SOP 2 / OIML D 28. A thing open to the air that fills it, as a vessel's liquid, has the same equation.
    """
    thin = np.asarray(air, dtype=float)
    return np.asarray(
        np.asarray(apparent, dtype=float) * (1.0 - thin / weights) / (1.0 - thin / np.asarray(density, dtype=float))
    )


def vessel_volume(
    net_water: ArrayLike,
    water_temperature: ArrayLike,
    air: ArrayLike,
    *,
    wanted: ArrayLike | None = None,
    expansion: float = BOROSILICATE,
    weights: float = WEIGHTS,
) -> Array:
    """Volume of a vessel from the water that fills it, V = W (1 - a/d) / (rho_w - a), at this or another temperature.

    net_water : W, (...) kg, reading with water less reading empty; water_temperature : (...) K, 0-40 °C; air : a,
    kg/m3; wanted : K, temperature at which the volume is wanted, by V (1 + gamma (T - T_w)); expansion : gamma, 1/K.
    Returns (...) m3. Raises `OutOfRangeError` for the water's temperature. Source: ISO 4787 / EURAMET cg-19 eq. 1;
    1000 V / W is its factor Z in mL/g.
    """
    thin = np.asarray(air, dtype=float)
    volume = np.asarray(net_water, dtype=float) * (1.0 - thin / weights) / (water_density(water_temperature) - thin)
    if wanted is None:
        return np.asarray(volume)
    step = np.asarray(wanted, dtype=float) - np.asarray(water_temperature, dtype=float)
    return np.asarray(volume * (1.0 + expansion * step))


def volume_density(net: ArrayLike, volume: ArrayLike, air: ArrayLike, weights: float = WEIGHTS) -> Array:
    """Density from a weighing in air of a known volume, rho = a + W (1 - a/d) / V.

    net : W, (...) kg, full less empty; volume : V, (...) m3 at the liquid's temperature; air : a, kg/m3. Returns kg/m3.
    The vessel weighed empty is full of air, so that its own buoyancy falls out.
    """
    thin = np.asarray(air, dtype=float)
    return np.asarray(thin + np.asarray(net, dtype=float) * (1.0 - thin / weights) / np.asarray(volume, dtype=float))


def vessel_density(
    net: ArrayLike,
    temperature: ArrayLike,
    net_water: ArrayLike,
    water_temperature: ArrayLike,
    air: ArrayLike,
    *,
    expansion: float = BOROSILICATE,
) -> Array:
    """Density from a vessel weighed empty, with water and with the liquid.

    net, net_water : (...) kg, full less empty; temperature, water_temperature : (...) K; air : kg/m3; expansion of the
    glass, 1/K. Returns (...) kg/m3: `volume_density` in the volume that `vessel_volume` gives at ``temperature``, that
    is rho = a + (W/W_w) (rho_w - a) / (1 + gamma (T - T_w)): the weights fall out.
    """
    volume = vessel_volume(net_water, water_temperature, air, wanted=temperature, expansion=expansion)
    return volume_density(net, volume, air)


def hydrometer_density(
    reading: ArrayLike, temperature: ArrayLike, calibration: ArrayLike, expansion: float = HYDROMETER_GLASS
) -> Array:
    """Density at ``temperature`` behind a reading on a scale of glass that is true at ``calibration`` (K).

    rho = R / (1 + gamma (T - T_c)): the warmer hydrometer displaces more. The same holds for mass over the nominal
    volume of a flask. Source: `HYDROMETER_SOURCE`. Any unit of density; all broadcast.
    """
    step = np.asarray(temperature, dtype=float) - np.asarray(calibration, dtype=float)
    return np.asarray(np.asarray(reading, dtype=float) / (1.0 + expansion * step))


def density_from_gravity(gravity: ArrayLike, water_celsius: ArrayLike) -> Array:
    """Density of a liquid from its specific gravity: times the density of water at the basis' second temperature.

    gravity : (...) sg t1/t2; water_celsius : t2, (...) °C as written in the basis, 0-40; they broadcast. Returns
    kg/m3 at t1. Raises `OutOfRangeError` for t2. 60 °F is 15.556 °C (the basis 60F/60F).
    """
    water = water_density(np.asarray(water_celsius, dtype=float) + ZERO_CELSIUS)
    return np.asarray(np.asarray(gravity, dtype=float) * water)


def density_at(
    density: ArrayLike,
    temperature: ArrayLike,
    wanted: ArrayLike,
    slope: ArrayLike,
    slope_u: ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Density moved along a straight line from ``temperature`` to ``wanted`` (K), and the uncertainty that adds.

    density : kg/m3; slope, slope_u : drho/dT and its standard uncertainty, kg/m3/K; all broadcast. Returns
    kg/m3, kg/m3.
    """
    step = np.asarray(wanted, dtype=float) - np.asarray(temperature, dtype=float)
    value = np.asarray(density, dtype=float) + np.asarray(slope, dtype=float) * step
    return np.asarray(value), np.asarray(np.abs(np.asarray(slope_u, dtype=float) * step))
