"""Figures of a campaign as short texts, the same in the report and on the terminal."""

from __future__ import annotations

from fractionkit.figures.labels import plain
from fractionkit.planning.campaign.model import Campaign, PassesRow, Policy
from fractionkit.planning.cutting.words import Kind, span
from fractionkit.quantities import UNKNOWN, Estimate, format_typed, mass_scale
from fractionkit.report.plan_words import hours, megajoules

__all__ = [
    "carried",
    "gain",
    "headline",
    "hours",
    "mass",
    "megajoules",
    "percent",
    "settled",
    "setup",
    "share",
    "unit",
    "wanted",
]


def unit(made: Campaign) -> str:
    """Unit of the masses in tables, which the headings name."""
    return mass_scale(made.fresh.estimate)[0]


def mass(made: Estimate | None, under: str | None = None) -> str:
    """Mass with its interval; figures alone ``under`` a heading that names the unit."""
    if made is None:
        return UNKNOWN
    text = span(made, "mass", under)
    return text if under is None else text.removesuffix(f" {under}")


def percent(made: Estimate | None) -> str:
    """Part with its interval in per cent, without the sign."""
    return _bare(made, "probability")


def share(made: Estimate | None) -> str:
    """Mass fraction with its interval in wt%, without the unit."""
    return _bare(made, "fraction")


def _bare(made: Estimate | None, kind: Kind) -> str:
    return UNKNOWN if made is None else span(made, kind).rpartition(" ")[0]


def gain(made: Estimate, under: str) -> str:
    """What a recycle gains or loses, with its sign, under a heading that names the unit; 0 where it is under 0.1 g."""
    if max(abs(made.low), abs(made.high)) < 1e-4:
        return "0"
    factor, digits = (1e3, 1) if under == "g" else (1.0, 2)
    middle, low, high = (f"{factor * part:+.{digits}f}" for part in (made.estimate, made.low, made.high))
    return f"{middle} ({low} to {high})"


def wanted(made: Campaign) -> str:
    """The target, "99 wt% tetrachloroethylene"."""
    return f"{format_typed(made.purity)} {made.target}"


def carried(number: int) -> str:
    """How many cuts are carried, in words."""
    return "nothing" if number == 0 else "1 cut" if number == 1 else f"{number} cuts"


def headline(made: Campaign) -> str:
    """The answer in a few words."""
    best = made.chosen
    if best.overall.estimate <= 0.0:
        return "No batch meets the target"
    return f"Carry {carried(best.carried)} into the next charge"


def means(row: PassesRow, made: Campaign) -> str:
    """By what means one charge is distilled, in words."""
    if row.passes == 0:
        return plain(made.setup) + (f" at reflux {made.reflux:g}" if made.stages.high > 1.0 else "")
    return "simple distillation" if row.passes == 1 else f"{row.passes} simple distillations"


def aims(row: PassesRow) -> str:
    """At which purities the cuts of several passes are taken."""
    return ", ".join(f"{100 * aim:.3g}" for aim in row.aims) if row.passes > 1 and row.kept.high > 0.0 else UNKNOWN


def settled(policy: Policy) -> str:
    """When the recycle has settled."""
    if policy.carried == 0:
        return UNKNOWN
    return "not yet" if policy.settled is None else f"batch {policy.settled}"


def setup(made: Campaign) -> str:
    """The set-up in words."""
    half = 0.5 * (made.stages.high - made.stages.low)
    count = f"{made.stages.estimate:.2g}" + (f" ± {half:.2g}" if half > 0.0 else "")
    column = "" if made.stages.high <= 1.0 else f" of {count} theoretical stages at reflux {made.reflux:g}"
    return f"{plain(made.setup)}{column}, {made.receivers} receivers"
