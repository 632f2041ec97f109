"""An invented assessed run, and logbooks that hold it. Nothing here was computed by the inference."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fractionkit.assessment.model import AssessedCut, Assessment, Balance, PlottedReadings
from fractionkit.quantities import Estimate, parse
from fractionkit.stock.composition import Known, typed

BINARY = ("trichloroethylene", "tetrachloroethylene")
HEAVY = (0.04, 0.3, 0.8, 0.995)  # tetrachloroethylene in the cuts, mass fraction
MASSES = (0.4, 0.25, 0.3, 0.35)  # kg
DECISIONS = ("redistil", "recycle", "recycle", "keep")
RESIDUE = 0.07
HOSTILE = (
    "=HYPERLINK(\"x\")", "+1", "-1", "@sum", "\t=1", "\r=1", "\n=1", "'", "''", "＝1", " =1", "",
    'a "quoted", text', "line one\nline two\r\nthree", "emoji 🧪 and 名前", "\u202eright to left\u202c",
    "<b>&amp;</b> [bold]x[/bold]", "\x1b[31mred\x07", "'; DROP TABLE booking; --", "x" * 10_000, "\ufeffbom", "\u2028",
)  # fmt: skip


def spread(centre: float, count: int, rng: np.random.Generator) -> np.ndarray:
    """Draws of a mass fraction about ``centre``, inside 0 to 1."""
    width = 0.02 * centre * (1 - centre) + 1e-4
    return np.clip(centre + width * rng.standard_normal(count), 0.0, 1.0)


def assessment(
    title: str = "Invented run",
    *,
    charge: float | None = 1.4,
    masses: Sequence[float | None] = MASSES,
    names: Sequence[str] = ("C1", "C2", "C3", "C4"),
    residue: bool = True,
    count: int = 1024,
) -> Assessment:
    """A run of four cuts with a residue; its errors are shared: one number moves all cuts of a draw."""
    rng = np.random.default_rng(7)
    shared = rng.standard_normal(count)
    heavy = np.stack([np.clip(spread(c, count, rng) + 0.01 * c * (1 - c) * shared, 0, 1) for c in HEAVY], axis=1)
    draws = np.stack([1 - heavy, heavy], axis=-1)
    cuts = tuple(
        AssessedCut(
            name,
            masses[k],
            {part: _told(draws[:, k, i]) for i, part in enumerate(BINARY)},
            DECISIONS[k],  # type: ignore[arg-type]
            "invented",
            None,
        )
        for k, name in enumerate(names)
    )
    left = np.clip(spread(0.97, count, rng), 0, 1)
    recovered = sum(mass or 0.0 for mass in masses)
    nothing = np.full(len(cuts), np.nan)
    return Assessment(
        title=title, date="2026-05-09", source="invented/run.toml", components=BINARY, target=BINARY[1], purity=0.99,
        confidence=0.95, pressure=98.6e3, pressure_u=200.0, cuts=cuts, lot=None, portions=(),
        balance=Balance(charge, 1e-4, recovered, RESIDUE if residue else None, None, None), findings=(), corrections=(),
        constants=(), cautions=(), flags=(), readings=PlottedReadings(nothing, nothing, nothing, nothing, nothing),
        curve=None, effective_samples=500.0, advice=(), consistency=0.5, draws=draws,
        mass_u=np.full(len(cuts), 1e-4), residue_draws=np.stack([1 - left, left], axis=-1) if residue else None,
    )  # fmt: skip


def _told(draws: np.ndarray) -> Estimate:
    low, high = np.quantile(draws, [0.025, 0.975])
    return Estimate(float(draws.mean()), float(low), float(high))


def bought(share: str = "99.5 ± 0.3 wt%") -> Known:
    """Chloroform with some ethanol."""
    return typed({"chloroform": parse(share, "fraction"), "ethanol": None}, 1)
