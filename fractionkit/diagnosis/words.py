"""Explanations in plain words, one sentence each, with what to do."""

from __future__ import annotations

from dataclasses import dataclass

from fractionkit.diagnosis.hypothesis import Explained, Result
from fractionkit.quantities import COVERAGE_95

NOTHING = "nothing wrong"


@dataclass(frozen=True)
class Size:
    """Size of a fault with its 95 % interval; ``mark`` is the variant's label: a cut, a basis, a fixed size."""

    value: float
    low: float
    high: float
    mark: str

    @property
    def away(self) -> float:
        """Size without its sign."""
        return abs(self.value)

    @property
    def grams(self) -> float:
        """The same of a density, g/mL."""
        return self.away / 1000.0

    @property
    def percent(self) -> str:
        """The same of a mass fraction, wt%."""
        return percent(self.away)

    @property
    def side(self) -> str:
        """Whether an instrument, or a result, is low or high."""
        return "low" if self.value < 0.0 else "high"

    @property
    def warmth(self) -> str:
        """Whether a liquid was warmer than written."""
        return "warmer" if self.value > 0.0 else "colder"

    @property
    def slip(self) -> str:
        """What makes the density of one cut too low or too high."""
        return "a bubble, or a vessel not quite full" if self.value < 0.0 else "a slip in weighing or writing"

    @property
    def span(self) -> str:
        """The interval without signs."""
        low, high = sorted((abs(self.low), abs(self.high)))
        return f"{low:.1f} to {high:.1f}" if self.low * self.high > 0.0 else f"up to {high:.1f}"


# What may be wrong, and what to do about it; the fields are those of `Size`.
INSTRUMENTS = {
    NOTHING: ("Nothing is wrong: instruments and sheet are as stated.", "Nothing needs doing."),
    "sea-level pressure": (
        "The pressure looks like a sea-level value: an altitude of {0.value:.0f} m ({0.low:.0f} to {0.high:.0f}) explains "
        "the shift.",
        "Read a barometer at the still, or enter the value as sea_level with the altitude.",
    ),
    "thermometer offset": (
        "The thermometer reads {0.away:.1f} K {0.side} ({0.span} K).",
        "Check it in melting ice and in steam, and enter ice_point and steam_point.",
    ),
    "low bulb": (
        "The first head temperatures read {0.value:.1f} K low ({0.low:.1f} to {0.high:.1f}): the bulb was not yet washed by "
        "vapour, or sits too high.",
        "Leave the head temperatures of the first cut out, and set the bulb level with the side arm.",
    ),
    "density temperature": (
        "The densities were read {0.away:.1f} K {0.warmth} than written ({0.low:+.1f} to {0.high:+.1f}).",
        "Measure one density again with the thermometer in the liquid, and correct density_temp.",
    ),
    "specific gravity as density": (
        "The densities are specific gravities ({0.mark}) that were entered as g/mL.",
        "Look at what the instrument is marked in, and write the basis: sg{0.mark}.",
    ),
    "density as specific gravity": (
        "The values entered as specific gravity are densities in g/mL.",
        "Look at what the instrument is marked in, and write the values without a basis.",
    ),
    "density offset": (
        "All densities read {0.grams:.4f} g/mL {0.side}: the volume of the vessel is not what was taken for it.",
        "Weigh the vessel with water, and enter water_mass and water_temp.",
    ),
    "bubble": (
        "The density of {0.mark} alone reads {0.grams:.4f} g/mL {0.side}: {0.slip}.",
        "Measure the density of {0.mark} again.",
    ),
}
ENTRIES = {
    "temperatures in °F": (
        "The head temperatures are in °F: read so, they are {0.mark} °C.",
        "Write the unit into the header, head_start [F], or convert them.",
    ),
    "correction of the wrong sign": (
        "The thermometer's correction has the wrong sign: {0.mark} explains the shift.",
        "A correction is added to what was shown: a thermometer that reads low has a positive one.",
    ),
    "wrong result": (
        "The result entered for {0.mark} does not fit its other readings: it is {0.percent} wt% too {0.side}.",
        "Look whether it is of this cut and of this component.",
    ),
    "wrong test": (
        "The test of {0.mark} does not fit its other readings.",
        "Make it again, and look whether it was of this cut.",
    ),
}
FIXED = {"density temperature": "The densities were read {0.away:.1f} K {0.warmth} than written."}
ACTIONS = {
    "water": "Dry the cut over calcium chloride or sodium sulfate and measure its density again.",
    "chlorine": "Degas the cut (warm gently, or shake with a little thiosulfate solution) and measure it again.",
}


def interval(found: Explained) -> tuple[float, float, float] | None:
    """Size and 95 % interval, None for a fault without one; a size that can only be positive ends at zero.

    Of a foreign component it is the content of the vessel that holds most of it.
    """
    if found.variant.scale == 0.0:
        return None
    low, high = found.size - COVERAGE_95 * found.sd, found.size + COVERAGE_95 * found.sd
    if not found.variant.one_sided:
        return found.size, low, high
    bounds = max(found.size, 0.0), max(low, 0.0), max(high, 0.0)
    if found.content is None:
        return bounds
    most = float(found.content.max())
    return most, most * bounds[1] / max(found.size, 1e-9), min(most * bounds[2] / max(found.size, 1e-9), 1.0)


def sentence(result: Result) -> tuple[str, str]:
    """What may be wrong, and what to do about it."""
    code, best = result.hypothesis.code, result.best
    if code.startswith("third component: "):
        name = result.hypothesis.cause
        return f"The run holds a component that the sheet does not name: {name}, {amount(best)}.", action(name)
    if code.startswith("azeotrope: "):
        pair = code.removeprefix("azeotrope: ")
        return (
            f"The flat head temperature in {best.variant.label} is that of the azeotrope {pair}.",
            "Look for the component that the sheet does not name, and dry or wash the charge before distilling again.",
        )
    mark = best.variant.label
    bounds = interval(best)
    text, advice = (INSTRUMENTS | ENTRIES)[code]
    if bounds is None:
        fixed = float(mark) if code in FIXED else 0.0
        text, bounds = FIXED.get(code, text), (fixed, fixed, fixed)
    size = Size(*bounds, mark)
    return text.format(size), advice.format(size)


def action(name: str) -> str:
    """What to do about a component that the sheet does not name."""
    return ACTIONS.get(name, f"Name {name} in the sheet and assess again, or wash it out where it can be washed out.")


def amount(best: Explained) -> str:
    """How much of a component, and where."""
    bounds = interval(best)
    assert bounds is not None
    value, low, high = (percent(fraction) for fraction in bounds)
    where = "in every cut" if best.variant.uniform else f"in {best.variant.label}, where most of it would be"
    return f"about {value} wt% ({low} to {high}) {where}"


def percent(fraction: float) -> str:
    """A mass fraction in wt% to two digits."""
    shown = 100.0 * min(fraction, 1.0)
    return f"{shown:.0f}" if shown >= 10.0 else f"{shown:.2g}"
