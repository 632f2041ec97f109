"""Hand-made assessments to render. The numbers are invented; nothing here is computed by the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fractionkit.assessment.model import (
    AssessedCut,
    Assessment,
    Balance,
    Caution,
    Constant,
    Curve,
    Finding,
    Lot,
    PlottedReadings,
    Portion,
)
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction

HOSTILE = (
    "<script>alert(1)</script>",
    '"quotes" & ampersands',
    "[bold red]markup[/bold red] $x^2$ \x1b[31mred\x07",
    "' onmouseover='alert(1)",
    "</svg><img src=x onerror=alert(1)>",
    "{{ 7*7 }}{% raw %}",
    "名前 \u202eright-to-left",
)
BINARY = ("trichloroethylene", "tetrachloroethylene")
TERNARY = ("1,2-dichloroethane", "trichloroethylene", "tetrachloroethylene")


def _fractions(count: int, parts: int) -> np.ndarray:
    """(K, n) invented mass fractions: the first component gives way to the last along the run."""
    along = (np.arange(count) + 0.5) / count
    last = 1 / (1 + np.exp(-16 * (along - 0.42)))
    if parts == 2:
        return np.column_stack((1 - last, last))
    first = np.maximum(0.72 - 1.5 * along, 0.004) * (1 - last)
    return np.column_stack((first, 1 - first - last, last))


def _estimate(value: float, spread: float) -> Estimate:
    return Estimate(float(value), float(max(value - spread, 0.0)), float(min(value + 0.8 * spread, 1.0)))


def _cuts(names: list[str], w: np.ndarray, mass: np.ndarray, components: tuple[str, ...]) -> tuple[AssessedCut, ...]:
    cuts = []
    for k, name in enumerate(names):
        purity = w[k, -1]
        decision = "keep" if purity > 0.985 else "recycle" if purity > 0.6 else "waste" if k == 0 else "redistil"
        flags = (Flag("density-missing", "No density was read, so the head temperature alone speaks."),)
        cuts.append(
            AssessedCut(
                name=name,
                mass=None if np.isnan(mass[k]) else float(mass[k]),
                composition={
                    part: _estimate(w[k, i], 0.004 + 0.11 * w[k, i] * (1 - w[k, i]))
                    for i, part in enumerate(components)
                },
                decision=decision,
                reason={
                    "keep": "in the lot: together the kept cuts reach the target",
                    "recycle": "near the target, but would pull the lot below it",
                    "redistil": "holds enough of the target to be worth distilling again",
                    "waste": "forerun with the least of the target",
                }[decision],
                probability_meets_target=float(np.clip(1.6 * (purity - 0.6), 0.0, 0.9996)),
                flags=flags if k == 2 else (),
            )
        )
    return tuple(cuts)


def _curve(parts: tuple[str, ...]) -> Curve:
    w = np.linspace(0, 1, 101)
    straight = 1 / (w / 1622.6 + (1 - w) / 1464.2)
    return Curve(
        component=parts[-1],
        other=parts[-2],
        fraction=w,
        density=straight - 4 * w * (1 - w),
        density_u=0.8 + 3 * w * (1 - w),
        temperature=293.15,
        bubble=359.3 + 33.6 * w**1.3,
        dew=359.3 + 33.6 * w**0.6,
        straight_density=straight,
    )


def _readings(w: np.ndarray, mass: np.ndarray, curve: Curve) -> PlottedReadings:
    count = len(w)
    along = np.arange(count) / count
    step = 1 / count
    head = 358.2 + 34.5 / (1 + np.exp(-14 * (np.concatenate((along, [1.0])) - 0.4)))
    pair = w[:, -1] / (w[:, -1] + w[:, -2])
    density = np.interp(pair, curve.fraction, curve.density) + 1.3 * np.sin(40 * along + step)
    if count > 2:
        density[2] = np.nan
    start = head[:-1].copy()
    if count > 5:
        start[5] = np.nan
    return PlottedReadings(start, head[1:], density, np.full(count, 0.65), mass)


def _portion(decision: str, cuts: tuple[AssessedCut, ...], components: tuple[str, ...]) -> Portion | None:
    mine = [cut for cut in cuts if cut.decision == decision]
    if not mine:
        return None
    return Portion(
        decision,  # type: ignore[arg-type]
        tuple(cut.name for cut in mine),
        float(sum(cut.mass or 0 for cut in mine)),
        {part: mine[0].composition[part] for part in components},
    )


def _balance(mass: np.ndarray, components: tuple[str, ...]) -> Balance:
    recovered = float(np.nansum(mass))
    charge = recovered + 0.11
    share = charge / len(components)
    parts = {
        part: {
            "charge": Estimate(share, share - 0.03, share + 0.03),
            "recovered": Estimate(share - 0.02, share - 0.03, share - 0.01),
            "loss": Estimate(0.02, -0.012, 0.05),
        }
        for part in components
    }
    return Balance(charge, 0.001, recovered, 0.061, 0.012, Estimate(0.037, 0.034, 0.04), parts)


TRI, PER, CUSTOM = "trichloroethylene", "tetrachloroethylene", "common practice, no source"
CAUTIONS = (
    Caution(TRI, "hazard", "H350 may cause cancer", "EU CLP Annex VI, from memory"),
    Caution(TRI, "distilling", "never distil to dryness; a lost stabiliser lets acid form", CUSTOM),
    Caution(TRI, "incompatible with", "strong bases: form dichloroacetylene", CUSTOM),
    Caution(PER, "hazard", "H351 suspected of causing cancer", "EU CLP Annex VI, https://example.org/annex"),
    Caution(PER, "exposure limit", "100 ppm (8 h) in the United States", "29 CFR 1910.1000, partly from memory"),
    Caution(PER, "waste", "halogenated solvent waste; never down the drain", CUSTOM),
)


def _findings() -> tuple[Finding, ...]:
    return (
        Finding(
            "thermometer", "K", Estimate(0.0, -0.8, 0.8), Estimate(-0.52, -0.71, -0.33),
            "The heart cuts say that the head thermometer reads 0.52 K low.",
        ),
        Finding(
            "density", "kg/m3", Estimate(0.0, -0.8, 0.8), Estimate(0.1, -0.5, 0.7),
            "The run says little of the density instrument.",
        ),
    )  # fmt: skip


def _corrections() -> tuple[Correction, ...]:
    return (
        Correction("emergent stem of the head thermometer", 0.23, 0.06, "K", "0.00016/K for mercury, common practice"),
        Correction("density moved from 23.5 to 20.0 °C", 5.6, 0.2, "kg/m3", "slope of the catalogue"),
    )


def sample(
    components: tuple[str, ...] = BINARY,
    count: int = 9,
    *,
    names: list[str] | None = None,
    title: str = "Parts-washer recovery (invented)",
    target: bool = True,
    lot: bool = True,
    masses: bool = True,
) -> Assessment:
    """An invented run of ``count`` cuts; without ``target`` there is no lot and no probability either."""
    w = _fractions(count, len(components))
    mass = 0.04 + 0.16 * np.abs(np.sin(1.0 + np.arange(count)))
    if not masses:
        mass[count // 2] = np.nan
    names = names or [f"C{k + 1}" for k in range(count)]
    curve = _curve(components)
    cuts = _cuts(names, w, mass, components)
    if not target:
        cuts = tuple(
            AssessedCut(cut.name, cut.mass, cut.composition, "redistil", "no target was given", None, cut.flags)
            for cut in cuts
        )
    kept = tuple(cut.name for cut in cuts if cut.decision == "keep")
    the_lot = Lot(
        cuts=kept,
        mass=float(sum(cut.mass or 0 for cut in cuts if cut.decision == "keep")),
        assay=Estimate(0.99327, 0.99012, 0.99589) if kept else None,
        probability_meets_target=0.9731 if kept else 0.0,
        meets_target=bool(kept),
        label=("Recovered tetrachloroethylene, at least 99 wt% (95 % confidence)", "By density and boiling range only"),
        not_tested=("water", "acidity", "residue on evaporation", "stabiliser", "free halogen", "colour"),
    )
    portions = [_portion(decision, cuts, components) for decision in ("recycle", "redistil", "waste")]
    return Assessment(
        title=title,
        date="2026-05-09",
        source="run.toml",
        components=components,
        target=components[-1] if target else None,
        purity=0.99 if target else None,
        confidence=0.95 if target else None,
        pressure=98600.0,
        pressure_u=204.0,
        cuts=cuts,
        lot=the_lot if target and lot else None,
        portions=tuple(portion for portion in portions if portion is not None),
        balance=_balance(mass, components),
        findings=_findings(),
        corrections=_corrections(),
        constants=(
            Constant("boiling point of trichloroethylene", "87.2 ± 0.2 °C", "handbook, from memory"),
            Constant("density of tetrachloroethylene at 20 °C", "1.6227 ± 0.0006 g/mL", "handbook, from memory"),
        ),
        cautions=CAUTIONS,
        flags=(
            Flag("pressure-looks-like-sea-level", "The station pressure looks like one reduced to sea level."),
            Flag("loss-large", "The loss is 5 % of the charge; it is most likely the lightest component."),
        ),
        readings=_readings(w, mass, curve),
        curve=curve,
        effective_samples=4000.0,
        advice=(),
        consistency=0.31,
        draws=w[None],
        mass_u=np.full(len(cuts), 1e-4),
    )


def evil(place: str) -> str:
    """A text that would run or be drawn if it were ever taken as HTML; it says where it stands."""
    return f"<img src=x onerror=alert(1)>&amp;\"'{place}"


def hostile() -> Assessment:
    """Ten cuts whose texts try to break out of HTML, SVG, rich markup, a template or the terminal."""
    names = [*HOSTILE, "C8", "C9", "C10"]
    title = '<b>bold</b> & "title" {{ 1 }} [red]x[/red] $\\alpha$ \x1b]0;x\x07'
    run = sample(names=names, count=10, title=title)
    flag = Flag(evil("code"), evil("flag"))
    lot = replace(run.lot, label=(evil("label"),), not_tested=(evil("untested"),)) if run.lot else None
    return replace(
        run,
        date=evil("date"),
        source=evil("source"),
        cuts=tuple(replace(cut, reason=evil("reason"), flags=(flag,)) for cut in run.cuts),
        lot=lot,
        findings=tuple(
            replace(f, instrument=evil("tool"), unit=evil("unit"), text=evil("found")) for f in run.findings
        ),
        corrections=(Correction(evil("what"), 1.0, 0.1, evil("size"), evil("origin")),),
        constants=(Constant(evil("constant"), evil("value"), evil("book")),),
        cautions=(Caution(evil("substance"), evil("kind"), evil("caution"), evil("paper")),),
        flags=(flag,),
    )


def bare() -> Assessment:
    """As little as a run can hold: one cut, nothing read but a mass, no target, no charge, no curve."""
    nothing = np.array([np.nan])
    return Assessment(
        title="",
        date=None,
        source="run.toml",
        components=BINARY,
        target=None,
        purity=None,
        confidence=None,
        pressure=101325.0,
        pressure_u=0.0,
        cuts=(
            AssessedCut(
                "C1", None, {part: Estimate(0.5, 0.02, 0.98) for part in BINARY}, "redistil", "nothing was read", None
            ),
        ),
        lot=None,
        portions=(),
        balance=Balance(None, 0.0, 0.0, None, None, None),
        findings=(),
        corrections=(),
        constants=(),
        cautions=(),
        flags=(),
        readings=PlottedReadings(nothing, nothing, nothing, nothing, nothing),
        curve=None,
        effective_samples=float("nan"),
        advice=(),
        consistency=float("nan"),
        draws=np.empty((1, 0, 1)),
        mass_u=nothing,
    )
