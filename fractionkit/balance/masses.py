"""Masses of the cuts, and what became of the charge: charge = cuts + residue + hold-up + loss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.readings.bench_balance import weighing_u

Array = NDArray[np.float64]

VOLUME_RELATIVE = 0.01  # of a volume: a graduated receiver (common practice, no source)


@dataclass(frozen=True)
class Masses:
    """Mass of each cut and its standard uncertainty, (K,) kg; ``from_volume`` (K,) marks those not weighed."""

    mass: Array
    u: Array
    from_volume: NDArray[np.bool_]


def cut_masses(mass: Array, volume: Array, density: Array, density_u: Array) -> Masses:
    """Masses (K,) in kg: as weighed, else volume [m3] times density [kg/m3] at the bench's temperature.

    density, density_u : (K,) as measured, or as the composition implies where not measured.
    """
    weighed = np.isfinite(mass)
    computed = volume * density
    relative = np.hypot(VOLUME_RELATIVE, density_u / density)
    value = np.where(weighed, mass, computed)
    u = np.where(weighed, weighing_u(np.nan_to_num(mass)), np.abs(computed) * relative)
    return Masses(value, u, ~weighed & np.isfinite(computed))


@dataclass(frozen=True)
class Closure:
    """Charge = recovered + residue + hold-up + loss, kg. ``loss_draws`` (D,); None where no charge was given.

    component_charge, component_recovered, component_loss : (D, n) draws, None where the charge's composition is
    unknown.
    """

    charge: float | None
    charge_u: float
    recovered: float
    residue: float | None
    holdup: float | None
    loss_draws: Array | None
    component_charge: Array | None
    component_recovered: Array
    component_loss: Array | None


@dataclass(frozen=True)
class Side:
    """One side of the balance besides the cuts: a mass with u [kg] and composition draws (D, n), None where unknown."""

    mass: float
    u: float
    composition: Array | None = None


def close(
    masses: Masses,
    draws: Array,
    charge: Side | None,
    residue: Side | None,
    holdup: Side | None,
    seed: int = 20240305,
) -> Closure:
    """Close the balance in total and by component, from joint draws (D, K, n) of the cuts' mass fractions.

    A residue or hold-up of unknown composition leaves the components' recovery to the cuts alone, so their loss is
    then an upper bound.
    """
    rng = np.random.default_rng(seed)
    count = len(draws)
    known = np.nan_to_num(masses.mass)
    weighed = known + np.nan_to_num(masses.u) * rng.standard_normal((count, len(known)))
    component_recovered = np.einsum("dk,dkn->dn", weighed, draws)
    out = weighed.sum(axis=1)
    for side in (residue, holdup):
        if side is not None:
            amount = side.mass + side.u * rng.standard_normal(count)
            out = out + amount
            if side.composition is not None:
                component_recovered = component_recovered + amount[:, None] * side.composition
    charged = None if charge is None else charge.mass + charge.u * rng.standard_normal(count)
    component_charge = component_loss = None
    if charged is not None and charge is not None and charge.composition is not None:
        component_charge = charged[:, None] * charge.composition
        component_loss = component_charge - component_recovered
    return Closure(
        None if charge is None else charge.mass,
        0.0 if charge is None else charge.u,
        float(known.sum()),
        None if residue is None else residue.mass,
        None if holdup is None else holdup.mass,
        None if charged is None else charged - out,
        component_charge,
        component_recovered,
        component_loss,
    )
