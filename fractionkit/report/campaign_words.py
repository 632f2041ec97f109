"""Figures of a campaign as short texts, the same in the report and on the terminal."""

from __future__ import annotations

from fractionkit.figures.labels import plain
from fractionkit.planning.campaign_model import Campaign, PassesRow, Policy
from fractionkit.planning.cutting_words import Kind, span
from fractionkit.quantities import UNKNOWN, Estimate, mass_scale
from fractionkit.report.plan_words import hours, megajoules

__all__ = [
    "carried",
    "gain",
    "grams",
    "headline",
    "hours",
    "megajoules",
    "percent",
    "settled",
    "setup",
    "share",
    "wanted",
]


def grams(made: Estimate | None, *, unit: bool = False) -> str:
    """Mass with its interval; without ``unit``, under a heading that says g, only kg are named."""
    text = UNKNOWN if made is None else span(made, "mass")
    return text if unit else text.removesuffix(" g")


def percent(made: Estimate | None) -> str:
    """Part with its interval in per cent, without the sign."""
    return _bare(made, "probability")


def share(made: Estimate | None) -> str:
    """Mass fraction with its interval in wt%, without the unit."""
    return _bare(made, "fraction")


def _bare(made: Estimate | None, kind: Kind) -> str:
    return UNKNOWN if made is None else span(made, kind).rpartition(" ")[0]


def gain(made: Estimate) -> str:
    """What a recycle gains or loses, g (or kg, named) with its sign; 0 where it is less than a tenth of a gram."""
    largest = max(abs(made.low), abs(made.high))
    if largest < 1e-4:
        return "0"
    unit, factor = mass_scale(largest)
    middle, low, high = (factor * part for part in (made.estimate, made.low, made.high))
    return f"{middle:+.1f} ({low:+.1f} to {high:+.1f})" + (" kg" if unit == "kg" else "")


def wanted(made: Campaign) -> str:
    """The target, "99 wt% tetrachloroethylene"."""
    return f"{100 * made.purity:.6g} wt% {made.target}"


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
