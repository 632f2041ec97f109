"""Hand-made releases to render. The numbers are invented; cautions and grades are the package's own."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from fractionkit.assessment.context import cautions
from fractionkit.assessment.model import Constant
from fractionkit.grades import Sample, judge_lot
from fractionkit.quantities import Estimate, Flag, parse
from fractionkit.readings.terms import Correction
from fractionkit.release.model import Frontier, Left, MadeLot, Parent, Release, Stabiliser
from fractionkit.sheets.lot_model import EnteredTest

TARGET, OTHER = "dichloromethane", "chloroform"
TESTS = (
    EnteredTest("water", parse("0.008 ± 0.002 wt%", "fraction"), "Karl Fischer titration"),
    EnteredTest("residue", parse("0 wt%", "fraction"), "evaporation", parse("0.0015 wt%", "fraction")),
    EnteredTest("acidity", parse("0.0005 wt%", "fraction"), "titration"),
    EnteredTest("odour", "as usual", ""),
)


def _summary(draws: np.ndarray) -> Estimate:
    return Estimate(float(draws.mean()), *(float(end) for end in np.quantile(draws, (0.025, 0.975))))


@lru_cache
def made_lot(target: str = TARGET, other: str = OTHER, short_by: float = 0.003, purity: float = 0.99) -> MadeLot:
    """A lot of some grams whose target falls short of all by about ``short_by``."""
    rest = np.abs(np.random.default_rng(5).normal(short_by, 0.4 * short_by, 500))
    draws = np.stack([1.0 - rest, rest], axis=-1)
    assay, impurity = _summary(draws[:, 0]), _summary(draws[:, 1])
    chance = float((draws[:, 0] >= purity).mean())
    sample = Sample(target, (target, other), draws, 0.95, "guarded", TESTS)
    cut = {target: Estimate(0.998, 0.995, 1.0), other: Estimate(0.002, 0.0, 0.005)}
    return MadeLot(
        number="L-2026-05-09-1",
        title="Parts-washer recovery, May (invented)",
        date="2026-05-09",
        components=(target, other),
        target=target,
        purity=purity,
        confidence=0.95,
        parents=(
            Parent("runs/charge-7/run.toml", "C7", 0.62, 0.1421, cut, "Parts-washer recovery, charge 7"),
            Parent("runs/charge-7/run.toml", "C8", 1.0, 0.1743, cut, "Parts-washer recovery, charge 7"),
            Parent("shelf", "B-12", 1.0, 0.250, cut, "Bottle of April"),
        ),
        mass=0.5664,
        mass_u=0.0003,
        assay=assay,
        composition={target: assay, other: impurity},
        probability_meets_target=chance,
        meets_target=chance >= 0.95,
        draws=draws,
        grades=judge_lot((), sample),
        label=(
            f"{target}, reclaimed by distillation",
            "assay 99.70 (99.46–99.94) wt% by head temperature and density (95 % interval; not by chromatography)",
            f"at least 99.46 wt% {target} (95 % one-sided)",
            f"meets {100 * purity:g} wt% (probability over 99.9 %)",
        ),
        stabiliser=Stabiliser(
            "sold with amylene or ethanol, tens to hundreds of ppm",
            "amylene, 50 mg/kg",
            "2026-05-09",
            "2026-11-09",
            "distilling removed what there was; amylene, 50 mg/kg added again on 2026-05-09; test again by 2026-11-09",
        ),
        storage=("brown glass, full, closed, below 15 °C", "away from alkali metals and aluminium"),
        corrections=(
            Correction("emergent stem", 0.42, 0.05, "K", "NIST Monograph 150, eq. 10"),
            Correction("buoyancy of air", 1.05, 0.02, "kg/m3", "OIML R 111-1, 10.2"),
        ),
        constants=(
            Constant(f"vapour pressure of {target}", "A 9.16, B 1138, C -42", "invented for this sample"),
            Constant(f"density of {target}, 20 °C", "1.3266 ± 0.0006 g/mL", "invented for this sample"),
        ),
        cautions=cautions((target, other)),
        tests=TESTS,
    )


def release(**changes: object) -> Release:
    """Two lots, what is left, two frontiers, costs and a flag."""
    first = made_lot()
    poor = made_lot("tetrachloroethylene", "trichloroethylene", 0.02, 0.99)
    second = replace(
        poor,
        number="L-2026-05-09-2",
        stabiliser=Stabiliser(
            "a trace of amine", None, None, None, "no stabiliser was added again: distilling removes it"
        ),
        label=("tetrachloroethylene, reclaimed by distillation", "assay 98.0 (96.4–99.6) wt% by head temperature"),
        storage=(),
        tests=(),
    )
    assay = np.linspace(0.97, 0.997, 12)
    whole = Release(
        title="Parts-washer recovery, May (invented)",
        lots=(first, second),
        left=(
            Left(
                "runs/charge-7/run.toml",
                "C6",
                0.1992,
                "holds 81.1 (80.0–82.3) wt%, 99 wt% with probability below 0.1 %: distil it again",
            ),
            Left("runs/charge-7/run.toml", "C7", 0.087, "the lot takes all of it with 862 g more like C8"),
        ),
        frontiers=(Frontier(TARGET, assay, 0.9 - 0.8 * ((assay - 0.97) / 0.03) ** 2, 0.95, 0.99),),
        economics=(("cost per kg kept", "11.20 EUR"), ("the same bought new", "38.00 EUR")),
        flags=(Flag("reading", "the density was taken 1.3 K from the temperature of the others"),),
    )
    return replace(whole, **changes)
