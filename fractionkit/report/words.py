"""Figures of an assessment as short texts, the same in the report and in the terminal table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from fractionkit.assessment.model import (
    AT_ODDS,
    DOUBTFUL,
    FITS_POORLY,
    AssessedCut,
    Assessment,
    Balance,
    Caution,
    Finding,
    Lot,
)
from fractionkit.assessment.rarity import rarity
from fractionkit.figures.labels import DECISIONS, ZERO_CELSIUS, name_list, plain
from fractionkit.quantities import (
    COVERAGE_95,
    UNKNOWN,
    Estimate,
    decimals_of,
    format_interval,
    format_mass,
    format_probability,
    format_typed,
    format_value,
    format_with_half_width,
)
from fractionkit.readings.terms import Correction

LOCAL_RULES = "Local rules and licensed practice come first."

_FINDING_UNITS = {
    "K": ("temperature_difference", "K"),
    "Pa": ("pressure_difference", "kPa"),
}
_SAME_SIZE = {"kg/m3": "mg/mL", "1": ""}


def wt_percent(made: Estimate | None, *, unit: bool = True) -> str:
    """Mass fraction with its interval, "98.7 (97.9–99.3) wt%"; without the unit where a heading carries it."""
    if made is None:
        return UNKNOWN
    text = format_interval(made.estimate, made.low, made.high, "fraction")
    return text if unit else text.removesuffix(" wt%")


def grams_interval(made: Estimate | None, *, unit: bool = True) -> str:
    """Mass, or difference of mass, with its interval: "37.0 (34.0 to 40.0) g"; see `format_mass`."""
    if made is None:
        return UNKNOWN
    text = _signed(format_interval(made.estimate, made.low, made.high, "mass_difference"))
    return text if unit else text.removesuffix(" g")


def _signed(text: str) -> str:
    """The ends of an interval that may be negative stand apart by a word: "-0.71 to -0.33"."""
    return text if text == UNKNOWN else text.replace("–", " to ")


def goal(share: float | None) -> str:
    """A share that a person chose, "99.5 %" as typed; ``goal(0.99)`` is "99 %"."""
    return UNKNOWN if share is None else format_typed(share, "%")


def head_range(start: float, end: float) -> str:
    """Head temperatures in °C, "85.1–86.3"; "from 85.1" or "to 86.3" where only one was read."""
    first, last = (f"{kelvin - ZERO_CELSIUS:.1f}" if math.isfinite(kelvin) else "" for kelvin in (start, end))
    if first and last:
        return f"{first}–{last}"
    return f"from {first}" if first else f"to {last}" if last else UNKNOWN


def pressure(assessment: Assessment) -> str:
    """Pressure at the still with its 95 % half-width."""
    return format_with_half_width(assessment.pressure, assessment.pressure_u, "pressure")


def finding_interval(finding: Finding, made: Estimate) -> str:
    """What is known of an instrument's error, before or after the run, in a bench unit."""
    if finding.unit in _FINDING_UNITS:
        kind, unit = _FINDING_UNITS[finding.unit]
        return _signed(format_interval(made.estimate, made.low, made.high, kind, unit))
    figures = _signed(format_interval(made.estimate, made.low, made.high, "number"))
    return f"{figures} {_SAME_SIZE.get(finding.unit, plain(finding.unit))}".rstrip()


def correction_change(correction: Correction) -> str:
    """The change that a correction made, with its 95 % half-width, in the unit that it names."""
    factor, unit = (1e-3, "kPa") if correction.unit == "Pa" else (1.0, plain(correction.unit))
    change, half = factor * correction.change, factor * COVERAGE_95 * correction.u
    if not (math.isfinite(half) and half > 0):
        return f"{format_value(change)} {unit}".rstrip()
    decimals = decimals_of(half)
    return f"{change:+.{decimals}f} ± {half:.{decimals}f} {unit}".rstrip()


def agreement(assessment: Assessment) -> str:
    """How well the readings agree with one another, in a sentence."""
    chance = assessment.consistency
    if not math.isfinite(chance):
        return "How well the readings agree could not be judged."
    if chance == 1.0:  # no more readings than compositions
        return "There is one reading a cut: nothing to hold it against."
    grades = (
        (AT_ODDS, "are at odds"),
        (DOUBTFUL, "are hard to reconcile"),
        (FITS_POORLY, "fit poorly, look at them again"),
    )
    word = next((word for limit, word in grades if chance < limit), None)
    if word is None:
        return "The readings agree with one another."
    return f"The readings {word}: {rarity(chance)}."


def by_substance(cautions: Iterable[Caution]) -> dict[str, list[Caution]]:
    """Cautions, each once, under their substance, for the section that all reports share."""
    found: dict[str, list[Caution]] = {}
    for caution in dict.fromkeys(cautions):
        found.setdefault(caution.substance, []).append(caution)
    return found


def cautions_told(cautions: Iterable[Caution]) -> str:
    """The line at a terminal: how many cautions of which kinds the report holds, and that local rules come first."""
    each = dict.fromkeys(cautions)
    if not each:
        return LOCAL_RULES
    kinds = dict.fromkeys(plain(caution.kind) for caution in each)
    return f"{counted(len(each), 'caution')} ({', '.join(kinds)}): --report holds them. {LOCAL_RULES}"


def sentence(text: str) -> str:
    """`plain` text with a capital first letter."""
    flat = plain(text)
    return flat[:1].upper() + flat[1:]


def has_lot(lot: Lot | None) -> bool:
    """Whether anything is kept."""
    return lot is not None and bool(lot.cuts)


def verdict(assessment: Assessment) -> str:
    """The answer in one or two sentences: what may be kept, how pure it is, whether that meets the target."""
    lot = assessment.lot
    if assessment.target is None or assessment.purity is None:
        return "No target was given, so nothing is graded: what is in each cut stands below."
    if assessment.at_odds:
        return "The readings are at odds: find out why and measure again before anything is kept, distilled again or thrown away."
    wanted = f"{format_typed(assessment.purity)} {assessment.target}"
    if lot is None or not lot.cuts:
        return f"Nothing can be kept: no combination of cuts meets {wanted} with enough confidence."
    kept = f"Keep {name_list(lot.cuts)}: {format_mass(lot.mass)}"
    assay = "" if lot.assay is None else f" of {wt_percent(lot.assay)} {assessment.target}"
    found = format_probability(lot.probability_meets_target, spoken=True)
    chance = f"The probability that the lot holds at least {wanted} is {found}"
    asked = "" if assessment.confidence is None else f"; {goal(assessment.confidence)} was asked for"
    return f"{kept}{assay}. {chance}{asked}."


def meets(assessment: Assessment) -> bool | None:
    """Whether there is a lot that meets its target; None where no target was given."""
    if assessment.target is None:
        return None
    lot = assessment.lot
    return lot is not None and bool(lot.cuts) and bool(lot.meets_target)


def headline(assessment: Assessment) -> str:
    """The answer in a few words."""
    if assessment.target is None:
        return "Not graded: no target was given"
    if assessment.at_odds:
        return "No lot is to be relied on"
    if not has_lot(assessment.lot):
        return "Nothing meets the target"
    return "The lot meets the target" if meets(assessment) else "The lot does not meet the target"


def decision(assessment: Assessment, cut: AssessedCut) -> str:
    """What becomes of a cut; nothing is said of it while the readings are at odds."""
    return UNKNOWN if assessment.at_odds else cut.decision


def tally(assessment: Assessment) -> str:
    """Count the cuts by decision, "3 keep, 2 recycle"; how many there are while nothing is decided."""
    if assessment.at_odds:
        return counted(len(assessment.cuts), "cut")
    counts = [(word, sum(cut.decision == word for cut in assessment.cuts)) for word in DECISIONS]
    return ", ".join(f"{count} {word}" for word, count in counts if count) or "no cuts"


def balance_rows(balance: Balance) -> list[tuple[str, str]]:
    """Name and text of each part of the balance, "–" where it was not given."""
    charge = UNKNOWN
    if balance.charge is not None:
        charge = format_with_half_width(balance.charge, balance.charge_u, "mass")
    return [
        ("charge", charge),
        ("cuts", format_mass(balance.recovered)),
        ("residue", format_mass(balance.residue)),
        ("hold-up", format_mass(balance.holdup)),
        ("loss", grams_interval(balance.loss)),
    ]


def counted(count: int, noun: str) -> str:
    """Write a count with its noun, as in ``1 cut`` and ``2 cuts``."""
    return f"{count} {noun}" + ("" if count == 1 else "s")


def mean_composition(composition: dict[str, Estimate], components: Sequence[str]) -> list[tuple[str, str]]:
    """Component and interval text, in the order of the sheet."""
    return [(name, wt_percent(composition[name])) for name in components if name in composition]
