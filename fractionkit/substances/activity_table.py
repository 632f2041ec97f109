"""Rebuild the activity table: ``python -m fractionkit.substances.activity_table`` prints it as CSV.

The evidence behind each choice of source stands beside it. Where nothing is said, Dortmund is taken before original
UNIFAC: of the pairs of chlorinated solvents it alone keeps near-ideal what regular-solution theory and
practice call near-ideal (original UNIFAC gives trichloroethylene + 1,1,2-trichloroethane ln gamma = 0.9 and
trichloroethylene + 1,1,1-trichloroethane -0.4 at infinite dilution).
"""

from __future__ import annotations

import csv
import io
import itertools
import sys
from importlib.resources import files
from typing import NamedTuple

import numpy as np

from fractionkit.substances import Substance, get, names
from fractionkit.substances.activity_sources import (
    SPLITTING_ALPHA,
    Model,
    Nrtl,
    available,
    fit_nrtl,
    group_contribution,
)

CHLORINATED = ("chloroalkane", "chloroalkene", "chloroaromatic")
HEADER = ["first", "second", "a_ij", "a_ji", "b_ij_K", "b_ji_K", "alpha", "u", "origin", "source", "status"]
CHECKED_U = 0.06
"""Published set that gives a printed azeotrope within 0.5 K (0.06 moves an alcohol azeotrope by about 0.3 K)."""
UNCHECKED_U = 0.12
"""Published set without such a check: of the bank's sets that could be checked, one in four missed by 0.8-2 K."""
AGREEMENT = 0.06
AGREED_U = 0.04
"""Chlorinated pairs in which the two group methods agree within 0.06 (trichloroethylene + tetrachloroethylene,
chloroform + carbon tetrachloride: the measured g^E of the latter gives an amplitude of 0.13, from memory, the methods
give 0.12-0.14)."""
PUBLISHED = "NRTL set shipped with thermo 0.6.1 (binary parameter bank)"


class Pair(NamedTuple):
    """One row of the table."""

    nrtl: Nrtl
    u: float
    origin: str
    source: str
    status: str


def fit_range(first: Substance, second: Substance) -> tuple[float, float]:
    """Temperatures of a fit: from 25 K below the lower boiling point to the higher one, within 285-430 K."""
    boiling = [s.boiling_point.value for s in (first, second)]
    low = min(max(min(boiling) - 25.0, 285.0), 380.0)
    return low, max(min(max(boiling), 430.0), low + 30.0)


def _choices() -> dict[frozenset[str], tuple[str, str]]:
    text = files("fractionkit.substances").joinpath("data", "activity", "choices.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#"))
    return {frozenset((r["first"], r["second"])): (r["choice"], r["evidence"]) for r in rows}


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


def floor(first: Substance, second: Substance) -> float:
    """Least standard uncertainty of the Margules amplitude of a pair whose parameters are computed.

    Set by how far the group methods miss azeotropes, tables and solubilities where both exist (tests/published):

    - carbon tetrachloride + trichloroethylene, measured: original UNIFAC is 0.3 K low and Dortmund 0.8 K high, which is
      0.04 and 0.1 in the amplitude: 0.07 for pairs of chlorinated solvents;
    - alcohols miss azeotropes by up to 1 K: 0.15;
    - water with what hardly mixes misses solubilities by a factor of up to 1.6: 0.5; with what mixes well 0.2;
    - a dissolved gas or solid is ideal within 0.3 where measured (chlorine in carbon tetrachloride, from memory).
    """
    families = {first.family, second.family}
    if first.dissolved or second.dissolved:
        return 0.3
    if "water" in families:
        return 0.2 if families & {"alcohol", "ketone", "ester"} else 0.5
    if families <= set(CHLORINATED):
        return 0.07
    if "alcohol" in families:
        return 0.15 if families != {"alcohol"} else 0.08
    if families & {"ketone", "ester"}:
        return 0.10
    return 0.07


def ends(first: str, second: str, model: Model) -> np.ndarray | None:
    """Return ln gamma at infinite dilution (2,) at the middle of the pair's range, None without parameters."""
    if not available(model, first, second):
        return None
    low, high = fit_range(get(first), get(second))
    x, T = np.array([0.0, 1.0]), np.full(2, 0.5 * (low + high))
    found = group_contribution(model, first, second)(x, T)
    return np.array([found[0, 0], found[1, 1]])


def spread_of_models(first: str, second: str) -> float | None:
    """Mean distance between original UNIFAC and Dortmund at infinite dilution, None if only one has parameters."""
    a, b = ends(first, second, "UNIFAC"), ends(first, second, "Dortmund")
    return None if a is None or b is None else float(np.abs(a - b).mean())


def build(first: str, second: str) -> Pair:
    """Compute one row of the table."""
    one, two = get(first), get(second)
    choice, evidence = _choices().get(frozenset((first, second)), ("", ""))
    if not choice:
        choice = _default(one, two)
    maker = {
        "published": _published, "UNIFAC": _fitted, "Dortmund": _fitted,
        "azeotrope": _azeotrope, "solubility": _solubility, "ideal": _ideal,
    }[choice]  # fmt: skip
    pair = maker(one, two, choice)
    return pair._replace(source=f"{pair.source}; {evidence}" if evidence else pair.source)


def _default(one: Substance, two: Substance) -> str:
    if published(one.name, two.name) is not None:
        return "published"
    models: tuple[Model, Model] = ("Dortmund", "UNIFAC")
    if "water" in (one.family, two.family):
        models = ("UNIFAC", "Dortmund")
    for model in models:
        if available(model, one.name, two.name):
            return model
    return "ideal"


def _published(one: Substance, two: Substance, _: str) -> Pair:
    nrtl = published(one.name, two.name)
    assert nrtl is not None
    checked = frozenset((one.name, two.name)) in _choices()
    u = 0.3 if _partly(nrtl) else CHECKED_U if checked else UNCHECKED_U
    return Pair(nrtl, u, "published NRTL", PUBLISHED, "read in a copy")


def _partly(nrtl: Nrtl) -> bool:
    """Whether the strength of the pair says that it splits into two liquids."""
    return bool(np.diagonal(nrtl.ln_gamma(np.array([0.0, 1.0]), np.array(330.0))).sum() > 4.5)


def _fitted(one: Substance, two: Substance, choice: str) -> Pair:
    model: Model = "UNIFAC" if choice == "UNIFAC" else "Dortmund"
    nrtl, rms = fit_nrtl(group_contribution(model, one.name, two.name), *fit_range(one, two))
    spread = spread_of_models(one.name, two.name)
    # two models are two draws: half their distance beside the floor; one model alone deserves less trust
    least = floor(one, two)
    if {one.family, two.family} <= set(CHLORINATED) and spread is not None and spread <= AGREEMENT:
        least = min(least, AGREED_U)
    u = np.hypot(least, min(0.5 * spread, 0.6)) if spread is not None else 1.5 * least
    name = {"UNIFAC": "original UNIFAC", "Dortmund": "modified UNIFAC (Dortmund, 2006)"}[model]
    difference = "the other model lacks groups" if spread is None else f"models differ by {spread:.2f}"
    source = f"{name} through thermo 0.6.1, fitted as NRTL (rms ln gamma {rms:.3f}; {difference})"
    return Pair(nrtl, float(u), model, source, "computed")


def _azeotrope(one: Substance, two: Substance, _: str) -> Pair:
    row = next(r for r in _data("fitted_azeotropes.csv") if {r["first"], r["second"]} == {one.name, two.name})
    w = float(row["wt_pct_first"]) / 100.0
    w = w if row["first"] == one.name else 1.0 - w
    T = float(row["T_C"]) + 273.15
    nrtl = from_azeotrope(one, two, T, w, float(row["alpha"]))
    return Pair(
        nrtl, 0.15, "azeotrope", f"NRTL through the azeotrope at {row['T_C']} degC: {row['source']}", row["status"]
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
        nrtl, 0.5, "mutual solubility", f"NRTL through the mutual solubility at 25 degC: {row['source']}", row["status"]
    )


def _ideal(one: Substance, two: Substance, _: str) -> Pair:
    if {one.name, two.name} == {"chlorine", "water"}:
        # 7.3 g/L at 20 degC and 1 atm (from memory): x p/P = 82; the other end is a guess of the same size
        return Pair(from_ends(4.4, 4.4, 293.15, SPLITTING_ALPHA), 1.0, "solubility",
                    "solubility of chlorine in water, 7.3 g/L at 20 degC and 101 kPa", "from memory")  # fmt: skip
    reacts = {one.family, two.family} & {"alcohol", "ketone", "water"}
    u = 0.5 if reacts else max(floor(one, two), 0.12)
    return Pair(
        Nrtl(0.0, 0.0, 0.0, 0.0, 0.3), u, "ideal", "Raoult's law: no group parameters", "common practice, no source"
    )


def table() -> str:
    """The whole table as CSV text."""
    out = io.StringIO()
    out.write(
        "# NRTL, tau_ij = a_ij + b_ij/T. u: standard uncertainty of the Margules amplitude (ln gamma at infinite\n"
    )
    out.write("# dilution). Rebuilt by python -m fractionkit.substances.activity_table; do not edit.\n")
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
        )
        writer.writerow([first, second, *numbers, pair.origin, pair.source, pair.status])
    return out.getvalue()


if __name__ == "__main__":
    sys.stdout.write(table())
