"""Figures of a plan as short texts, the same in the report and on the terminal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.figures.labels import ZERO_CELSIUS, plain
from fractionkit.planning.cutting.model import CutPlan, Receiver
from fractionkit.planning.cutting.words import interval, single, span
from fractionkit.planning.model import Plan, Trial
from fractionkit.planning.sampling import central
from fractionkit.planning.shortcut import Shortcut
from fractionkit.quantities import (
    COVERAGE_95,
    UNKNOWN,
    Estimate,
    format_interval,
    format_probability,
    format_typed,
    format_with_half_width,
    mass_scale,
)
from fractionkit.quantities.rounding import HEAVY

Array = NDArray[np.float64]

RANKS = {
    "kept mass": "mass kept at the target",
    "kept mass per hour": "mass kept per hour",
    "heat": "heat for each kilogram kept",
}


def grams(made: Estimate | None) -> str:
    """Mass with its interval: "412 (380–430) g"."""
    if made is None:
        return UNKNOWN
    return span(made, "mass") if made.estimate >= HEAVY else _short(made, 1e3) + " g"


def unit(plan: Plan) -> str:
    """Unit of the masses in tables, which the headings name."""
    return mass_scale(plan.charge.estimate)[0]


def kept(trial: Trial, under: str) -> str:
    """Mass of the heart with its interval, under a heading that names the unit."""
    return UNKNOWN if trial.cuts is None or not trial.reaches else _grams(trial.cuts.kept, under)


def percent(made: Estimate | None, *, whole: bool = True) -> str:
    """Part of the target charged, in per cent without the sign; ``whole`` with its interval."""
    if made is None:
        return UNKNOWN
    return _short(made, 100.0) if whole else _short(made, 100.0).split(" ")[0]


def hours(made: Estimate | None) -> str:
    """Time in h, to a tenth."""
    return UNKNOWN if made is None else f"{made.estimate / 3600:.1f}"


def litres(made: Estimate | None) -> str:
    """Volume of cooling water in L, to two digits."""
    return UNKNOWN if made is None else f"{float(f'{1e3 * made.estimate:.2g}'):g}"


def megajoules(made: Estimate | None) -> str:
    """Heat in MJ, to two digits."""
    return UNKNOWN if made is None else f"{float(f'{1e-6 * made.estimate:.2g}'):g}"


def _short(made: Estimate, factor: float) -> str:
    """Estimate and interval in whole units, or in tenths where they are small."""
    digits = 0 if factor * max(made.estimate, made.high - made.low) >= 5.0 else 1
    middle, low, high = (f"{factor * part:.{digits}f}" for part in (made.estimate, made.low, made.high))
    return middle if low == high else f"{middle} ({low}–{high})"


def stages(trial: Trial) -> str:
    """Theoretical stages, "7.0 ± 1.5"."""
    half = COVERAGE_95 * trial.setup.stages_u
    if half <= 0.0:
        return f"{trial.setup.stages:g}"
    return f"{trial.setup.stages:.1f} ± {half:.1f}"


def reflux(trial: Trial) -> str:
    """Reflux ratio; none with a bare still head."""
    return f"{trial.reflux:g}" if trial.setup.stages > 1.0 else UNKNOWN


def wanted(plan: Plan) -> str:
    """The target, "99 wt% tetrachloroethylene"."""
    return f"{format_typed(plan.purity)} {plan.target}"


def headline(plan: Plan) -> str:
    """The answer in a few words."""
    best = plan.best
    if best is None:
        return f"No set-up gives {wanted(plan)}"
    at = f" at reflux {best.reflux:g}" if best.setup.stages > 1.0 else ""
    return f"{plain(best.setup.name)}{at} keeps most" if plan.rank == "kept mass" else f"{plain(best.setup.name)}{at}"


def verdict(plan: Plan) -> str:
    """The answer in a sentence or two."""
    best = plan.best
    if best is None or best.cuts is None:
        reasons = [trial.impossible for trial in plan.trials if trial.limit is not None]
        return "Nothing here reaches the target" + (f"; nearest: {reasons[0]}." if reasons else ".")
    chance = format_probability(best.cuts.probability, spoken=True)
    return (
        f"Keep {kept(best, unit(plan))} {unit(plan)} of {interval(best.cuts.assay, 'fraction')} {plan.target}, "
        f"{interval(best.cuts.recovery, 'probability')} of what is charged; probability of {wanted(plan)}: {chance}."
    )


def feed(plan: Plan) -> str:
    """The charge: how much of what, and where it comes from."""
    parts = ", ".join(
        f"{plain(name)} {format_interval(made.estimate, made.low, made.high, 'fraction')}"
        if made.high - made.low > 1e-6
        else f"{plain(name)} {100 * made.estimate:.4g} wt%"
        for name, made in plan.feed.items()
    )
    return f"{grams(plan.charge)}; {parts} ({plain(plan.origin)})"


def pressure(plan: Plan) -> str:
    """Pressure with its 95 % half-width."""
    return format_with_half_width(plan.pressure, plan.pressure_u, "pressure")


def thermometer(plan: Plan) -> str:
    """What the thermometer is expected to show above the truth."""
    low, high = plan.reading.low, plan.reading.high
    if high - low < 0.05 and abs(plan.reading.estimate) < 0.05:
        return "taken as right"
    side = "high" if plan.reading.estimate >= 0 else "low"
    if low < 0.0 < high and abs(plan.reading.estimate) < 0.05 * (high - low):
        return f"may be {0.5 * (high - low):.1f} K off either way"
    return f"taken to read {abs(plan.reading.estimate):.1f} K {side} ({low:+.1f} to {high:+.1f} K)"


def change(cuts: CutPlan, receiver: Receiver) -> str:
    """When to take a receiver away."""
    if receiver is cuts.receivers[-1]:
        return "end"
    if cuts.by == "head":
        return f"head {receiver.end - ZERO_CELSIUS:.1f} °C" if np.isfinite(receiver.end) else "end"
    return f"{single(receiver.end, 'mass')} over"


def head(receiver: Receiver) -> str:
    """Head temperatures as read from first to last drop, medians, °C."""
    start, end = (float(np.median(part)) - ZERO_CELSIUS for part in (receiver.head_start, receiver.head_end))
    return f"{start:.1f}–{end:.1f}"


def share(receiver: Receiver, place: int) -> str:
    """Mass fraction of a component in a receiver, wt% without the unit."""
    return interval(receiver.w[:, place], "fraction").removesuffix(" wt%")


def mass(receiver: Receiver, under: str) -> str:
    """Mass of a receiver, under a heading that names the unit."""
    return _grams(receiver.mass, under)


def _grams(values: Array, under: str) -> str:
    """Median with the 95 % interval of scenarios (S,), to a tenth of a gram at most, whole where the interval is wide."""
    if under == "kg":
        return interval(values, "mass", under).removesuffix(" kg")
    low, middle, high = (1e3 * float(end) for end in central(values))
    digits = 0 if high - low >= 5.0 else 1
    if high - low < 0.2:
        return f"{middle:.1f}"
    return f"{middle:.{digits}f} ({low:.{digits}f}–{high:.{digits}f})"


def sanity(plan: Plan, made: Shortcut) -> str:
    """Fenske, Underwood and Gilliland beside the model, in a line."""
    light, heavy = plan.components[made.pair.light], plan.components[made.pair.heavy]
    return (
        f"{light} over {heavy} alone, relative volatility {made.pair.alpha:.3g}: a first drop of "
        f"{100 * max(plan.purity, made.pair.z):.4g} mol% needs {made.least_stages:.1f} stages at total reflux (Fenske) and "
        f"reflux {made.least_reflux:.2g} with endless stages (Underwood); this set-up's first drop is "
        f"{100 * made.first_drop:.4g} mol% by Gilliland's correlation, {100 * made.model:.4g} mol% by the model."
    )


def portion(trial: Trial, decision: str) -> str:
    """How many receivers go one way, and how much that is: "2 × 310 g" in all."""
    found = (trial.portions or {}).get(decision)
    if found is None or found[1].estimate <= 0.0:
        return "none"
    count, made = found
    return f"{count} cut{'' if count == 1 else 's'}, {grams(made)}"
