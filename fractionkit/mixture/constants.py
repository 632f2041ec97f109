"""The arrays that a mixture computes with, filled from the catalogue and the pair tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fractionkit.mixture.activity import Activity
from fractionkit.mixture.arrays import Array, pairs
from fractionkit.mixture.refraction import Refraction
from fractionkit.mixture.tables import ExcessVolume, activity_pairs, excess_volumes
from fractionkit.mixture.vapour import VapourPressure
from fractionkit.mixture.volume import Volume
from fractionkit.substances import Substance

TOGETHER = 2.0  # most by which errors of activity of several pairs are larger than of one, see `_activity`
IDEAL_U = 0.3
"""Standard uncertainty of the Margules amplitude when Raoult's law is chosen although the liquid is not known to be
ideal: the spread of ln gamma at infinite dilution over the chlorinated pairs of the table is about 0.2."""
IDEAL_U_ASYMMETRY = 0.4 * IDEAL_U

GROUPS = {"chloroalkane": "chlorinated", "chloroalkene": "chlorinated", "chloroaromatic": "chlorinated",
          "ketone": "oxygenated", "ester": "oxygenated"}  # fmt: skip


@dataclass(frozen=True)
class Constants:
    """Everything numeric about a mixture of n components. ``molar_mass`` (n,) in kg/mol."""

    molar_mass: Array
    vapour: VapourPressure
    activity: Activity
    volume: Volume
    refraction: Refraction


def from_substances(substances: Sequence[Substance], model: Literal["nrtl", "ideal"]) -> Constants:
    """Collect the constants of ``substances``, in their order."""
    antoine = [s.vapour_pressure for s in substances]
    index = [s.refractive_index for s in substances]
    n = len(substances)
    return Constants(
        molar_mass=np.array([s.molar_mass.value for s in substances]),
        vapour=VapourPressure(
            A=np.array([a.A for a in antoine]),
            B=np.array([a.B for a in antoine]),
            C=np.array([a.C for a in antoine]),
            t_min=np.array([a.t_min for a in antoine]),
            t_max=np.array([a.t_max for a in antoine]),
            u_ln=np.array([a.u_ln for a in antoine]),
            shift=np.zeros(n),
        ),
        activity=_activity([s.name for s in substances], model),
        volume=_volume(substances),
        refraction=Refraction(
            reference=np.array([np.nan if r is None else r.n_ref for r in index]),
            t_reference=np.array([np.nan if r is None else r.t_ref for r in index]),
            slope=np.array([np.nan if r is None else r.slope for r in index]),
            u=np.array([np.nan if r is None else r.u for r in index]),
        ),
    )


def _activity(names: Sequence[str], model: Literal["nrtl", "ideal"]) -> Activity:
    """Parameters and errors of all pairs.

    A group method that is wrong is so in all pairs alike: of m pairs taken from one their errors add up, not the squares, which
    independent errors do when each is larger by the root of m.
    """
    n = len(names)
    a, b, alpha, u, u_skew, grouped = (np.zeros((n, n)) for _ in range(6))
    for i, j in pairs(n):
        if model == "ideal":
            u[i, j] = u[j, i] = IDEAL_U
            u_skew[i, j] = u_skew[j, i] = IDEAL_U_ASYMMETRY
            continue
        pair = activity_pairs()[names[i], names[j]]
        a[i, j], a[j, i], b[i, j], b[j, i] = pair.a_ij, pair.a_ji, pair.b_ij, pair.b_ji
        alpha[i, j] = alpha[j, i] = pair.alpha
        u[i, j] = u[j, i] = pair.u
        u_skew[i, j] = u_skew[j, i] = pair.u_asymmetry
        grouped[i, j] = grouped[j, i] = "UNIFAC" in pair.origin or "Dortmund" in pair.origin
    together = np.where(grouped, min(max(float(np.triu(grouped).sum()), 1.0) ** 0.5, TOGETHER), 1.0)
    u, u_skew = u * together, u_skew * together
    return Activity(a, b, alpha, np.zeros((n, n)), np.zeros((n, n)), u, u_skew)


def _volume(substances: Sequence[Substance]) -> Volume:
    density = [s.density for s in substances]
    n = len(substances)
    excess, u_excess, skew = np.zeros((3, n, n))
    for i, j in pairs(n):
        pair = excess_volume(substances[i], substances[j])
        excess[i, j] = excess[j, i] = pair.value
        u_excess[i, j] = u_excess[j, i] = pair.u
        skew[i, j], skew[j, i] = pair.skew, -pair.skew
    return Volume(
        reference=np.array([d.rho_ref for d in density]),
        t_reference=np.array([d.t_ref for d in density]),
        slope=np.array([d.slope for d in density]),
        curvature=np.array([d.curvature for d in density]),
        t_min=np.array([d.t_min for d in density]),
        t_max=np.array([d.t_max for d in density]),
        u=np.array([d.u for d in density]),
        u_slope=np.array([d.u_slope for d in density]),
        excess=excess,
        u_excess=u_excess,
        skew=skew,
        shift=np.zeros(n),
    )


def excess_volume(first: Substance, second: Substance) -> ExcessVolume:
    """Look up the excess volume of a pair, else the default of its families."""
    table = excess_volumes()
    pair = table.get((first.name, second.name))
    if pair is not None:
        return pair
    families = (f"family:{_group(first)}", f"family:{_group(second)}")
    return table.get(families, table["family:any", "family:any"])


def _group(substance: Substance) -> str:
    return "solute" if substance.dissolved else GROUPS.get(substance.family, substance.family)
