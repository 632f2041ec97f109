"""The truth of simulated runs: another thermodynamic model and other constants than the estimator's.

Liquid: UNIFAC, original or Dortmund, whichever the estimator's pair table was *not* made from (pairs from published
NRTL: either, drawn per run). Vapour pressure: another published equation than the catalogue's, drawn per run and
substance among those that the catalogue does not list as outliers. Pure densities: another source's value, or the
catalogue's value displaced by a draw of its stated standard uncertainty. Excess volume: drawn per run.
Every array has a leading axis of S runs, so that one distillation follows them all.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs
from fractionkit.substances import get
from fractionkit.substances.activity_sources import Model, available
from fractionkit.substances.model import Substance
from fractionkit.substances.packages import _PSAT_EQUATIONS
from tests.proof.liquids import Liquid, Table, Unifac

Array = NDArray[np.float64]

DENSITIES = Path(__file__).parents[2] / "data" / "checks" / "densities.csv"
NEWTON_STEPS = 8
DEW_STEPS = 60
SAME = 2e-4  # two vapour pressure equations whose logarithms differ by less are one and the same
# Excess volume at x = 0.5, cm3/mol: mean and standard deviation of the draw, near 25 degC, from memory: carbon
# tetrachloride with polar chlorinated solvents expands by 0.1-0.3, similar molecules hardly; other chlorinated pairs
# lie within 0.2 of nothing, chlorinated + alcohol within 0.3 (common practice, no source).
EXCESS = {
    frozenset({"chloroform", "carbon tetrachloride"}): (0.16, 0.03),
    frozenset({"dichloromethane", "carbon tetrachloride"}): (0.20, 0.08),
    frozenset({"trichloroethylene", "tetrachloroethylene"}): (0.02, 0.04),
}
# Group methods that a published table refutes are no fair truth: carbon tetrachloride + trichloroethylene by Dortmund boils
# 0.8 K above the table in data/checks, which Raoult follows to 0.2 K.
REFUTED = {frozenset({"carbon tetrachloride", "trichloroethylene"}): "Dortmund"}
EXCESS_CHLORINATED, EXCESS_ALCOHOL = (0.0, 0.1), (0.0, 0.15)


@lru_cache(maxsize=64)
def other_equations(name: str) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """Published vapour pressure equations other than the catalogue's: (source, coefficients of `ln_pressure`).

    Each is refitted as a + b/T + c ln T + d T from 45 K below to 40 K above the boiling point, to 3e-4 in ln p.
    """
    from thermo import VaporPressure

    substance = get(name)
    own = substance.vapour_pressure
    T = substance.boiling_point.value + np.linspace(-45.0, 40.0, 35)
    mine = np.log(10.0) * (own.A - own.B / (T + own.C))
    outliers = {o.source for o in substance.outliers if o.property == "boiling_point"}
    equation = VaporPressure(CASRN=substance.cas)
    basis = np.stack([np.ones_like(T), 1.0 / T, np.log(T), T], axis=-1)
    found = []
    for method, source in _PSAT_EQUATIONS.items():
        if method not in equation.all_methods or source in outliers:
            continue
        values = np.log([equation.calculate(float(t), method) for t in T])
        if np.abs(values - mine)[np.abs(T - substance.boiling_point.value) < 15.0].max() < SAME:
            continue
        fit, *_ = np.linalg.lstsq(basis, values, rcond=None)
        if np.abs(basis @ fit - values).max() > 3e-4:
            raise AssertionError(f"{name}: {source} is not followed by four terms")
        found.append((source, tuple(float(v) for v in fit)))
    return tuple(found)


@lru_cache(maxsize=64)
def other_densities(name: str) -> tuple[float, ...]:
    """Other sources' densities near 20 degC, kg/m3 above the catalogue's curve: handbooks, papers, equations of state.

    From the project's table of checks (data/checks/densities.csv), rows between 18 and 27 degC whose allowed distance
    shows a measurement (at most 2.5 kg/m3; equations fitted over a wide range are allowed 3) and that are not outliers.
    """
    fit = get(name).density
    with DENSITIES.open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return tuple(
            float(row["density_kg_m3"]) - float(fit.at(273.15 + float(row["t_C"])))
            for row in rows
            if row["substance"] == name
            and 18.0 <= float(row["t_C"]) <= 27.0
            and float(row["tolerance_kg_m3"]) < 2.6
            and not row["remark"].startswith("outlier")
        )


@dataclass(frozen=True)
class Truth:
    """S mixtures of the same n components, each with its own constants.

    pressure_terms : (S, n, 4). models : of the liquid; share : (S, M) one of them is 1, the others 0;
    margules, skew : (S, n, n) amplitudes A (symmetric) and B (antisymmetric) of an added
    g^E/RT = sum over pairs of A_ij x_i x_j + B_ij x_i x_j (x_i - x_j).
    rho, slope, curvature : (S, n) at 293.15 K; excess : (S, n, n) m3/mol, V^E = sum over pairs 4 x_i x_j excess_ij.
    """

    names: tuple[str, ...]
    molar_mass: Array
    models: tuple[Liquid, ...]
    share: Array
    margules: Array
    skew: Array
    pressure_terms: Array
    rho: Array
    slope: Array
    curvature: Array
    excess: Array
    boiling: Array

    @property
    def n(self) -> int:
        """Number of components."""
        return len(self.names)

    def part(self, runs: NDArray[np.intp]) -> Truth:
        """One truth a row: run number ``runs[k]`` in row k."""
        taken = ("share", "margules", "skew", "pressure_terms", "rho", "slope", "curvature", "excess")
        return replace(self, **{name: getattr(self, name)[runs] for name in taken})

    def ln_gamma(self, x: Array, T: Array) -> Array:
        """(..., S, n)."""
        inside = np.clip(x, 1e-12, 1.0)
        total = np.zeros(np.broadcast_shapes(x.shape, (*T.shape, 1)))
        for m, model in enumerate(self.models):
            weight = self.share[:, m]
            if weight.any():
                total = total + weight[:, None] * model.ln_gamma(inside, T)
        linear = np.einsum("...i,...ij->...j", x, self.margules)
        total = total + linear - 0.5 * (linear * x).sum(axis=-1, keepdims=True)
        # a form of the third degree G in x adds dG/dx_k - 2 G
        one, two = (np.einsum("...j,...ij->...i", v, self.skew) for v in (x, x**2))
        third = 0.5 * (x**2 * one - x * two).sum(axis=-1, keepdims=True)
        return total + 2.0 * x * one - two - 2.0 * third

    def ln_pressure(self, T: Array) -> tuple[Array, Array]:
        """ln p (..., S, n) of the pure liquids and its slope in T."""
        t = T[..., None]
        a, b, c, d = np.moveaxis(self.pressure_terms, -1, 0)
        return a + b / t + c * np.log(t) + d * t, -b / t**2 + c / t + d

    def bubble_point(self, x: Array, pressure: Array) -> tuple[Array, Array]:
        """T (..., S) and vapour y (..., S, n) of liquids x (..., S, n): Newton in T, ln gamma's slope left out."""
        x = np.asarray(x, dtype=np.float64)
        target = np.log(np.asarray(pressure, dtype=np.float64))
        T = np.broadcast_to(x @ self.boiling, np.broadcast_shapes(x.shape[:-1], target.shape)).copy()
        for step in range(NEWTON_STEPS):
            if step % 2 == 0:
                gamma = self.ln_gamma(x, T)
            ln_p, slope = self.ln_pressure(T)
            partial = x * np.exp(ln_p + gamma)
            total = partial.sum(axis=-1)
            T = T - (np.log(total) - target) * total / (partial * slope).sum(axis=-1)
        y = x * np.exp(self.ln_pressure(T)[0] + self.ln_gamma(x, T))
        return T, y / y.sum(axis=-1, keepdims=True)

    def dew_point(self, y: Array, pressure: Array) -> tuple[Array, Array]:
        """T (..., S) and liquid x (..., S, n) of vapours y: successive substitution, damped; the liquid starts as y."""
        y = np.asarray(y, dtype=np.float64)
        target = np.log(np.asarray(pressure, dtype=np.float64))
        T = np.broadcast_to(y @ self.boiling, np.broadcast_shapes(y.shape[:-1], target.shape)).copy()
        x = np.broadcast_to(y, (*T.shape, self.n)).copy()
        for _ in range(DEW_STEPS):
            gamma = self.ln_gamma(x, T)
            for _ in range(2):
                ln_p, slope = self.ln_pressure(T)
                partial = y * np.exp(target[..., None] - ln_p - gamma)
                total = partial.sum(axis=-1)
                T = T + np.clip(np.log(total) * total / (partial * slope).sum(axis=-1), -5.0, 5.0)
            fresh = y * np.exp(-self.ln_pressure(T)[0] - gamma)
            x = 0.5 * x + 0.5 * fresh / fresh.sum(axis=-1, keepdims=True)
        return T, x

    def density(self, w: Array, T: Array) -> Array:
        """kg/m3 (..., S) of mass fractions w (..., S, n)."""
        away = np.asarray(T)[..., None] - 293.15
        pure = self.rho + away * (self.slope + away * self.curvature)
        moles = w / self.molar_mass
        mixed = 2.0 * np.einsum("...i,...ij,...j->...", moles, self.excess, moles) / moles.sum(axis=-1)
        return np.asarray(1.0 / ((w / pure).sum(axis=-1) + mixed))


def draw_truth(names: Sequence[str], runs: int, rng: np.random.Generator) -> Truth:
    """Constants of ``runs`` mixtures."""
    substances = [get(name) for name in names]
    terms = np.empty((runs, len(names), 4))
    rho, slope, curvature = (np.empty((runs, len(names))) for _ in range(3))
    for i, substance in enumerate(substances):
        choices = np.array([fit for _, fit in other_equations(substance.name)])
        terms[:, i] = choices[rng.integers(len(choices), size=runs)]
        rho[:, i], slope[:, i], curvature[:, i] = _draw_density(substance, runs, rng)
    models = _other_models(names)
    share = np.eye(len(models))[rng.integers(len(models), size=runs)]
    return Truth(
        tuple(s.name for s in substances),
        np.array([s.molar_mass.value for s in substances]),
        tuple(Unifac(names, model) for model in models),
        share,
        *np.zeros((2, runs, len(names), len(names))),
        terms,
        rho,
        slope,
        curvature,
        _draw_excess(substances, runs, rng),
        np.array([s.boiling_point.value for s in substances]),
    )


def draw_control(names: Sequence[str], runs: int, rng: np.random.Generator) -> Truth:
    """Constants drawn from the estimator's own prior: what is wrong here is the inference, not a constant."""
    mixture = Mixture(names)
    n = mixture.n
    drawn = {error.name: error.u * rng.standard_normal(runs) for error in mixture.model_errors}
    terms, rho = np.empty((runs, n, 4)), np.empty((runs, n))
    margules, skew, excess = np.zeros((3, runs, n, n))
    volume = mixture.constants.volume
    if volume.skew.any():
        raise AssertionError("the control knows symmetric excess volumes only")
    for error in mixture.model_errors:
        i, j = error.components[0], error.components[-1]
        if error.kind == "vapour_pressure":
            terms[:, i] = _antoine(mixture.substances[i])
            terms[:, i, 0] += drawn[error.name]
        elif error.kind == "density":
            rho[:, i] = volume.pure(np.array(293.15))[i] + drawn[error.name]
        elif error.kind == "activity":
            margules[:, i, j] = margules[:, j, i] = drawn[error.name]
        elif error.kind == "activity_asymmetry":
            skew[:, i, j], skew[:, j, i] = drawn[error.name], -drawn[error.name]
        elif error.kind == "excess_volume":
            excess[:, i, j] = excess[:, j, i] = volume.excess[i, j] + drawn[error.name]
        elif error.kind not in ("refractive_index", "refraction_rule"):
            raise AssertionError(f"the control knows no error of kind {error.kind}")
    slope = volume.slope + 2.0 * volume.curvature * (293.15 - volume.t_reference)
    shape = (runs, n)
    return Truth(
        mixture.names,
        mixture.molar_mass,
        (Table(mixture),),
        np.ones((runs, 1)),
        margules,
        skew,
        terms,
        rho,
        np.broadcast_to(slope, shape),
        np.broadcast_to(volume.curvature, shape),
        excess,
        np.array([s.boiling_point.value for s in mixture.substances]),
    )


def _antoine(substance: Substance) -> Array:
    """The catalogue's vapour pressure refitted as a + b/T + c ln T + d T, (4,)."""
    T = substance.boiling_point.value + np.linspace(-45.0, 40.0, 35)
    basis = np.stack([np.ones_like(T), 1.0 / T, np.log(T), T], axis=-1)
    own = substance.vapour_pressure
    return np.asarray(np.linalg.lstsq(basis, np.log(10.0) * (own.A - own.B / (T + own.C)), rcond=None)[0])


def _draw_density(substance: Substance, runs: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    fit = substance.density
    shifts = np.array(other_densities(substance.name))
    drawn = rng.standard_normal(runs) * fit.u
    if shifts.size:
        drawn = np.where(rng.random(runs) < 0.5, shifts[rng.integers(len(shifts), size=runs)], drawn)
    slope = fit.slope + rng.standard_normal(runs) * fit.u_slope
    away = 293.15 - fit.t_ref
    return (
        fit.rho_ref + away * (fit.slope + away * fit.curvature) + drawn,
        slope + 2.0 * fit.curvature * away,
        np.full(runs, fit.curvature),
    )


def _draw_excess(substances: Sequence[Substance], runs: int, rng: np.random.Generator) -> Array:
    n = len(substances)
    excess = np.zeros((runs, n, n))
    for i, j in combinations(range(n), 2):
        pair = frozenset({substances[i].name, substances[j].name})
        alcohol = "alcohol" in (substances[i].family, substances[j].family)
        mean, sd = EXCESS.get(pair, EXCESS_ALCOHOL if alcohol else EXCESS_CHLORINATED)
        excess[:, i, j] = excess[:, j, i] = 1e-6 * (mean + sd * rng.standard_normal(runs))
    return excess


def _other_models(names: Sequence[str]) -> tuple[Model, ...]:
    """UNIFAC variants that no pair of the estimator's table was made from and that have all groups."""
    pairs = list(combinations(names, 2))
    used = {activity_pairs()[pair].origin for pair in pairs} | {REFUTED.get(frozenset(pair)) for pair in pairs}
    models: tuple[Model, ...] = tuple(
        model
        for model in ("UNIFAC", "Dortmund")
        if model not in used and all(available(model, *pair) for pair in pairs)
    )
    if not models:
        raise AssertionError(f"no other model for {names}")
    return models
