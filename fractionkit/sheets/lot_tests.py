"""Results of tests as people write them: "0.008 ± 0.002 wt%", "< 0.005 wt%", "58.0 to 62.5 °C", "clear and colourless"."""

from __future__ import annotations

import re
from typing import Final

from fractionkit.errors import InputError
from fractionkit.quantities import Quantity, parse

#: Attributes whose result is a quantity, with its kind; the results of all others are words.
KINDS: Final = {
    "assay": "fraction",
    "water": "fraction",
    "residue": "fraction",
    "acidity": "fraction",
    "stabiliser": "fraction",
    "free halogen": "fraction",
    "density": "density",
    "boiling range": "temperature",
    "colour": "number",
}
WORDS = ("colour", "acidity", "free halogen", "stabiliser", "residue", "water")  # may also be told in words
_BELOW = re.compile(r"^\s*(?:<|≤|below|less than|not more than)\s*(?=\d)")
_RANGE = re.compile(r"\s+(?:to|–|—|-)\s+|(?<=\d)\s*[–—]\s*(?=\d)|\s*\.\.\.\s*|\s*…\s*")
_COLOUR_UNIT = re.compile(r"\s*(?:Pt-?Co|APHA|Hazen)(?:\s+units?)?\s*$", re.IGNORECASE)
_LONGEST = 200


def read_result(attribute: str, text: str | int | float) -> tuple[Quantity | str, Quantity | None]:
    """The result and, of a range or of "below", its upper end.

    Raises
    ------
    InputError
        whose fault says what was expected.
    """
    written = " ".join(str(text).split())[:_LONGEST]
    kind = KINDS.get(attribute)
    if kind is None or (attribute in WORDS and not re.search(r"\d", written)):
        return written, None
    if attribute == "colour":
        written = _COLOUR_UNIT.sub("", written)
    if below := _BELOW.match(written):
        high = parse(written[below.end() :], kind)
        return Quantity(0.0, None, high.kind, written), high
    if attribute == "boiling range":
        return _range(written, kind)
    return parse(written, kind), None


def _range(written: str, kind: str) -> tuple[Quantity, Quantity | None]:
    ends = _RANGE.split(written)
    if len(ends) != 2:
        return parse(written, kind), None
    high = parse(ends[1], kind)
    unit = re.sub(r"^[\s\d.,±+-]*", "", ends[1])
    try:
        low = parse(ends[0], kind)
    except InputError:
        low = parse(f"{ends[0]} {unit}", kind)
    return low, high
