"""Explanations in plain words, one sentence each, with what to do."""

from __future__ import annotations

from fractionkit.diagnosis.hypothesis import Explained, Result

NOTHING = "nothing wrong"
COVERAGE_95 = 1.959964


def interval(found: Explained) -> tuple[float, float, float] | None:
    """Size and 95 % interval, None for a fault without one; a size that can only be positive ends at zero."""
    if found.variant.scale == 0.0:
        return None
    low, high = found.size - COVERAGE_95 * found.sd, found.size + COVERAGE_95 * found.sd
    if found.variant.one_sided:
        return max(found.size, 0.0), max(low, 0.0), max(high, 0.0)
    return found.size, low, high


def sentence(result: Result) -> tuple[str, str]:
    """What may be wrong, and what to do about it."""
    code, best = result.hypothesis.code, result.best
    size = interval(best)
    if code == NOTHING:
        return "Nothing is wrong: instruments and sheet are as stated.", "Nothing needs doing."
    if code.startswith("third component: "):
        return _component(code.removeprefix("third component: "), best)
    if code.startswith("azeotrope: "):
        pair = code.removeprefix("azeotrope: ")
        return (
            f"The flat head temperature in {best.variant.label} is that of the azeotrope {pair}.",
            "Look for the component that the sheet does not name, and dry or wash the charge before distilling again.",
        )
    return _INSTRUMENTS[code](best, size)


def _component(name: str, best: Explained) -> tuple[str, str]:
    size = interval(best)
    assert size is not None
    amount = f"{_percent(size[0])} wt% ({_percent(size[1])} to {_percent(size[2])})"
    everywhere = best.variant.uniform
    where = "in every cut" if everywhere else f"in {best.variant.label}, where most of it would be"
    action = {
        "water": "Dry the cut over calcium chloride or sodium sulfate and measure its density again.",
        "chlorine": "Degas the cut (warm gently, or shake with a little thiosulfate solution) and measure it again.",
    }.get(name, f"Name {name} in the sheet and assess again, or wash it out where it can be washed out.")
    return f"The run holds a component that the sheet does not name: {name}, about {amount} {where}.", action


def _percent(fraction: float) -> str:
    percent = 100.0 * min(fraction, 1.0)
    return f"{percent:.0f}" if percent >= 10.0 else f"{percent:.2g}"


def _sea_level(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    assert size is not None
    return (
        f"The pressure looks like a sea-level value: an altitude of {size[0]:.0f} m ({size[1]:.0f} to {size[2]:.0f}) "
        "explains the shift.",
        "Read a barometer at the still, or enter the value as sea_level with the altitude.",
    )


def _thermometer(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    assert size is not None
    way = "low" if size[0] < 0.0 else "high"
    low, high = sorted((abs(size[1]), abs(size[2])))
    span = f"{low:.1f} to {high:.1f}" if size[1] * size[2] > 0.0 else f"up to {high:.1f}"
    return (
        f"The thermometer reads {abs(size[0]):.1f} K {way} ({span} K).",
        "Check it in melting ice and in steam, and enter ice_point and steam_point.",
    )


def _low_bulb(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    assert size is not None
    return (
        f"The first head temperatures read {size[0]:.1f} K low ({size[1]:.1f} to {size[2]:.1f}): the bulb was not yet "
        "washed by vapour, or sits too high.",
        "Leave the head temperatures of the first cut out, and set the bulb level with the side arm.",
    )


def _density_temperature(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    away = float(best.variant.label) if size is None else size[0]
    between = "" if size is None else f" ({size[1]:+.1f} to {size[2]:+.1f})"
    return (
        f"The densities were read {abs(away):.1f} K {'warmer' if away > 0 else 'colder'} than written{between}.",
        "Measure one density again with the thermometer in the liquid, and correct density_temp.",
    )


def _gravity(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    del size
    return (
        f"The densities are specific gravities ({best.variant.label}) that were entered as g/mL.",
        f"Look at what the instrument is marked in, and write the basis: sg{best.variant.label}.",
    )


def _not_gravity(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    del best, size
    return (
        "The values entered as specific gravity are densities in g/mL.",
        "Look at what the instrument is marked in, and write the values without a basis.",
    )


def _density_offset(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    assert size is not None
    return (
        f"All densities read {abs(size[0]) / 1000.0:.4f} g/mL {'low' if size[0] < 0.0 else 'high'}: the volume of the vessel "
        "is not what was taken for it.",
        "Weigh the vessel with water, and enter water_mass and water_temp.",
    )


def _bubble(best: Explained, size: tuple[float, float, float] | None) -> tuple[str, str]:
    assert size is not None
    way = "low: a bubble, or a vessel not quite full" if size[0] < 0.0 else "high: a slip in weighing or writing"
    return (
        f"The density of {best.variant.label} alone reads {abs(size[0]) / 1000.0:.4f} g/mL {way}.",
        f"Measure the density of {best.variant.label} again.",
    )


_INSTRUMENTS = {
    "sea-level pressure": _sea_level,
    "thermometer offset": _thermometer,
    "low bulb": _low_bulb,
    "density temperature": _density_temperature,
    "specific gravity as density": _gravity,
    "density as specific gravity": _not_gravity,
    "density offset": _density_offset,
    "bubble": _bubble,
}
