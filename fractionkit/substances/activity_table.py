"""Rebuild the activity table: ``python -m fractionkit.substances.activity_table`` prints it as CSV.

The evidence behind each choice of source stands beside it. Where there is none, the centre is the mean of original
UNIFAC and Dortmund: they miss to opposite sides where a measured azeotrope can tell (1,1,2-trichloroethane +
tetrachloroethylene by -1.9 K and +1.2 K, their mean by -0.2 K; ethyl acetate + ethanol -0.7 K, +0.9 K, 0.1 K).
"""

from __future__ import annotations

import csv
import io
import itertools
import sys
from functools import cache
from importlib.resources import files
from typing import NamedTuple

import numpy as np

from fractionkit.substances import Substance, get, names
from fractionkit.substances.activity_errors import (
    CHECKED_U,
    FAMILY_SKEW,
    MEASURED_SKEW,
    SKEW,
    UNCHECKED_U,
    floor,
    half_distances,
    of_mean,
    of_one,
)
from fractionkit.substances.activity_sources import (
    SPLITTING_ALPHA,
    Model,
    Nrtl,
    available,
    fit_nrtl,
    fit_range,
    group_contribution,
    mean_of_models,
)

HEADER = [
    "first",
    "second",
    "a_ij",
    "a_ji",
    "b_ij_K",
    "b_ji_K",
    "alpha",
    "u",
    "u_asymmetry",
    "origin",
    "source",
    "status",
]
MEAN = "mean of UNIFAC and Dortmund"
MODELS: tuple[Model, Model] = ("UNIFAC", "Dortmund")
PUBLISHED = "NRTL set shipped with thermo 0.6.1 (binary parameter bank)"


class Pair(NamedTuple):
    """One row of the table."""

    nrtl: Nrtl
    u: float
    u_asymmetry: float
    origin: str
    source: str
    status: str


def _choice(first: str, second: str) -> dict[str, str]:
    """Row of choices.csv of a pair, empty where nothing is said."""
    return next((r for r in _data("choices.csv") if {r["first"], r["second"]} == {first, second}), {})


@cache
def _data(name: str) -> list[dict[str, str]]:
    text = files("fractionkit.substances").joinpath("data", "activity", name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#")))


def published(first: str, second: str) -> Nrtl | None:
    """Published NRTL parameters of a pair in this order, None if there are none."""
    for row in _data("published_nrtl.csv"):
        b_ij, b_ji, alpha = (float(row[k]) for k in ("b_ij_K", "b_ji_K", "alpha"))
        if (row["first"], row["second"]) == (first, second):
            return Nrtl(0.0, 0.0, b_ij, b_ji, alpha)
        if (row["second"], row["first"]) == (first, second):
            return Nrtl(0.0, 0.0, b_ji, b_ij, alpha)
    return None


def from_ends(first: float, second: float, T: float, alpha: float) -> Nrtl:
    """NRTL with tau = b/T whose ln gamma at infinite dilution at ``T`` are ``first`` and ``second``."""
    from scipy.optimize import fsolve

    def miss(tau: np.ndarray) -> list[float]:
        forward, back = tau
        return [
            back + forward * np.exp(-alpha * forward) - first,
            forward + back * np.exp(-alpha * back) - second,
        ]

    forward, back = fsolve(miss, [0.6 * second, 0.6 * first], xtol=1e-12)
    return Nrtl(0.0, 0.0, float(forward) * T, float(back) * T, alpha)


def from_azeotrope(first: Substance, second: Substance, T: float, w: float, alpha: float) -> Nrtl:
    """NRTL with tau = b/T through an azeotrope at 101.325 kPa: there ln gamma_i = ln P - ln p_i."""
    from scipy.optimize import fsolve

    moles = np.array([w / first.molar_mass.value, (1.0 - w) / second.molar_mass.value])
    x = np.array(moles[0] / moles.sum())
    target = np.array([np.log(101_325.0) - float(s.vapour_pressure.ln_pressure(T)) for s in (first, second)])

    def miss(b: np.ndarray) -> np.ndarray:
        ln_gamma = Nrtl(0.0, 0.0, float(b[0]), float(b[1]), alpha).ln_gamma(x, np.array(T))
        return np.asarray(ln_gamma - target, dtype=np.float64)

    b = fsolve(miss, [400.0, 400.0], xtol=1e-12)
    return Nrtl(0.0, 0.0, float(b[0]), float(b[1]), alpha)


def build(first: str, second: str) -> Pair:
    """Compute one row of the table."""
    one, two = get(first), get(second)
    row = _choice(first, second)
    choice = row.get("choice") or _default(one, two)
    maker = {
        "published": _published, "UNIFAC": _fitted, "Dortmund": _fitted, "mean": _mean,
        "azeotrope": _azeotrope, "solubility": _solubility, "ideal": _ideal,
    }[choice]  # fmt: skip
    pair = maker(one, two, choice)
    if not row:
        return pair
    u, skew = (float(row[k]) if row[k] else None for k in ("u", "u_asymmetry"))
    return pair._replace(
        u=pair.u if u is None else u,
        u_asymmetry=pair.u_asymmetry if skew is None else skew,
        source=f"{pair.source}; {row['evidence']}",
    )


def _default(one: Substance, two: Substance) -> str:
    if published(one.name, two.name) is not None:
        return "published"
    able = [model for model in MODELS if available(model, one.name, two.name)]
    if not able:
        return "ideal"
    # with water Dortmund is no equal: it dissolves carbon tetrachloride some 30 times too well (0.08 wt%, from memory)
    return "mean" if len(able) == 2 and "water" not in (one.family, two.family) else able[0]


def _published(one: Substance, two: Substance, _: str) -> Pair:
    nrtl = published(one.name, two.name)
    assert nrtl is not None
    u = 0.3 if _partly(nrtl) else CHECKED_U if _choice(one.name, two.name) else UNCHECKED_U
    return Pair(nrtl, u, MEASURED_SKEW * u, "published NRTL", PUBLISHED, "read in a copy")


def _partly(nrtl: Nrtl) -> bool:
    """Whether the strength of the pair says that it splits into two liquids."""
    return bool(np.diagonal(nrtl.ln_gamma(np.array([0.0, 1.0]), np.array(330.0))).sum() > 4.5)


def _fitted(one: Substance, two: Substance, choice: str) -> Pair:
    model: Model = "UNIFAC" if choice == "UNIFAC" else "Dortmund"
    nrtl, rms = fit_nrtl(group_contribution(model, one.name, two.name), *fit_range(one, two))
    name = {"UNIFAC": "original UNIFAC", "Dortmund": "modified UNIFAC (Dortmund, 2006)"}[model]
    source = f"{name} through thermo 0.6.1, fitted as NRTL (rms ln gamma {rms:.3f}; {_difference(one, two)})"
    return Pair(nrtl, *of_one(one, two, rms), model, source, "computed")


def _mean(one: Substance, two: Substance, _: str) -> Pair:
    nrtl, rms = fit_nrtl(mean_of_models(one.name, two.name), *fit_range(one, two))
    source = (
        "mean of ln gamma of original UNIFAC and modified UNIFAC (Dortmund, 2006) through thermo 0.6.1, "
        f"fitted as NRTL (rms ln gamma {rms:.3f}; {_difference(one, two)})"
    )
    return Pair(nrtl, *of_mean(one, two, rms), MEAN, source, "computed")


def _difference(one: Substance, two: Substance) -> str:
    distance = half_distances(one.name, two.name)
    return "the other model lacks groups" if distance is None else f"models differ by {distance[2]:.2f}"


def _azeotrope(one: Substance, two: Substance, _: str) -> Pair:
    row = next(r for r in _data("fitted_azeotropes.csv") if {r["first"], r["second"]} == {one.name, two.name})
    w = float(row["wt_pct_first"]) / 100.0
    w = w if row["first"] == one.name else 1.0 - w
    T = float(row["T_C"]) + 273.15
    nrtl = from_azeotrope(one, two, T, w, float(row["alpha"]))
    return Pair(
        nrtl, 0.15, 0.1, "azeotrope", f"NRTL through the azeotrope at {row['T_C']} degC: {row['source']}", row["status"]
    )


def _solubility(one: Substance, two: Substance, _: str) -> Pair:
    """Mutual solubilities at 25 degC: at infinite dilution ln gamma = -ln x of the saturated solution."""
    row = next(r for r in _data("water_solubilities.csv") if r["substance"] in (one.name, two.name))
    solvent = one if one.name == row["substance"] else two
    M, M_water = solvent.molar_mass.value, 0.018015
    in_water, water_in = float(row["wt_pct_in_water"]) / 100.0, float(row["wt_pct_water_in"]) / 100.0
    x_solvent = in_water / M / (in_water / M + (1.0 - in_water) / M_water)
    x_water = water_in / M_water / (water_in / M_water + (1.0 - water_in) / M)
    values = (-np.log(x_solvent), -np.log(x_water))
    first, second = values if solvent is one else values[::-1]
    nrtl = from_ends(float(first), float(second), 298.15, SPLITTING_ALPHA)
    return Pair(
        nrtl,
        0.5,
        FAMILY_SKEW["water"],
        "mutual solubility",
        f"NRTL through the mutual solubility at 25 degC: {row['source']}",
        row["status"],
    )


def _ideal(one: Substance, two: Substance, _: str) -> Pair:
    if {one.name, two.name} == {"chlorine", "water"}:
        # 60.84 lb in 1000 US gallons at 68 degF (read at hillbrothers.com): x p/P = 82; the other end is a guess of its size
        return Pair(from_ends(4.4, 4.4, 293.15, SPLITTING_ALPHA), 1.0, SKEW, "solubility",
                    "solubility of chlorine in water, 7.3 g/L at 20 degC and 101 kPa", "read in a copy")  # fmt: skip
    reacts = {one.family, two.family} & {"alcohol", "ketone", "water"}
    u = 0.5 if reacts else max(floor(one, two), 0.12)
    return Pair(
        Nrtl(0.0, 0.0, 0.0, 0.0, 0.3),
        u,
        SKEW * u,
        "ideal",
        "Raoult's law: no group parameters",
        "common practice, no source",
    )


def table() -> str:
    """The whole table as CSV text."""
    out = io.StringIO()
    out.write("# NRTL, tau_ij = a_ij + b_ij/T. u, u_asymmetry: standard uncertainties of the two Margules\n")
    out.write("# amplitudes of the error of g^E/RT, A x_i x_j + B x_i x_j (x_i - x_j).\n")
    out.write("# Rebuilt by python -m fractionkit.substances.activity_table; do not edit.\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for first, second in itertools.combinations(names(), 2):
        pair = build(first, second)
        n = pair.nrtl
        numbers = (
            f"{n.a_ij:.5f}",
            f"{n.a_ji:.5f}",
            f"{n.b_ij:.3f}",
            f"{n.b_ji:.3f}",
            f"{n.alpha:.4f}",
            f"{pair.u:.3f}",
            f"{pair.u_asymmetry:.3f}",
        )
        writer.writerow([first, second, *numbers, pair.origin, pair.source, pair.status])
    return out.getvalue()


if __name__ == "__main__":
    sys.stdout.write(table())
