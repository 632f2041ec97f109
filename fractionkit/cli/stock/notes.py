"""Readings and test results typed at the prompt."""

from __future__ import annotations

from fractionkit.cli.options import quantity
from fractionkit.errors import Fault, InputError
from fractionkit.quantities import parse
from fractionkit.stock import acts


def readings_of(
    density: str | None, temperature: str | None, tests: list[str], method: str, text: str | None
) -> list[acts.Noted]:
    """What is to be noted; a result that is a mass fraction is kept as a figure too, anything else as words."""
    found = []
    if density is not None:
        if temperature is None:
            raise InputError(
                Fault(density, "--temperature as well: a density says little without it", column="--density")
            )
        read, warmth = quantity("--density", density, "density"), quantity("--temperature", temperature, "temperature")
        if read.kind != "density":
            raise InputError(Fault(density, "a density in g/mL", column="--density"))
        value = f"{density} at {temperature}"
        found.append(acts.Noted(acts.DENSITY, value, read.value, read.u, warmth.value, method))
    for test in tests:
        attribute, sign, result = (part.strip() for part in test.partition("="))
        if not attribute or not sign or not result:
            raise InputError(Fault(test, 'an attribute and its result, like "water = 0.008 wt%"', column="--test"))
        if attribute.casefold() in acts.RESERVED:
            raise InputError(Fault(test, f"another attribute than {attribute}, which has an option", column="--test"))
        share, u = _fraction(result)
        found.append(acts.Noted(attribute, result, share, u, None, method))
    if text is not None:
        found.append(acts.Noted(acts.REMARK, text))
    return found


def _fraction(result: str) -> tuple[float | None, float | None]:
    try:
        read = parse(result, "fraction")
    except InputError:
        return None, None  # words, or a quantity of another kind: kept as typed
    return read.value, read.u
