"""How bench notation is spelt: patterns of a number, of "±", of a specific gravity; typography made plain."""

from __future__ import annotations

import re

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
NUMBER_THEN_UNIT = re.compile(rf"({_NUMBER}) ?(.*)", re.DOTALL)
PLUS_MINUS = re.compile(r"±|\+ ?/ ?-|\+-")
GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
GRAVITY = re.compile(
    r"(?:sg|SG|S\.G\.|s\.g\.) ?([0-9]+(?:[.,][0-9]+)?) ?(°? ?[CF])? ?/ ?([0-9]+(?:[.,][0-9]+)?) ?(°? ?[CF])?"
)
# Spaces, minus and degree signs that word processors and spreadsheets put in. Digits are never translated: a
# superscript in "10³ g" must not become 103 g.
_TYPOGRAPHY = {
    **dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f\u200a\u2002\u2003\t"), " "),
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011\u2013"), "-"),
    **dict.fromkeys(map(ord, "º˚"), "°"),
}
_UNIT_TYPOGRAPHY = {
    **dict(zip(map(ord, "³²¹⁻·⋅"), "321-  ", strict=True)),
    ord("\u03bc"): "u",
    ord("\u00b5"): "u",
    ord("℃"): "°C",
    ord("℉"): "°F",
}
MAX_LENGTH = 200  # characters; nobody writes a longer reading, and it bounds the work of the patterns


def flatten(text: str) -> str:
    """Make spaces, minus and degree signs plain and collapse white space."""
    return " ".join(text.translate(_TYPOGRAPHY).split())


def without_brackets(flat: str) -> str:
    """Read the standard's notation "(98.6 ± 0.4) kPa" as "98.6 ± 0.4 kPa"."""
    found = re.fullmatch(r"\(([^()]*)\) ?([^()]*)", flat)
    return f"{found[1].strip()} {found[2]}".strip() if found else flat


def normal_unit(unit_text: str) -> str:
    """Spell a unit as the table does: superscripts, micro signs, stray spaces."""
    text = " ".join(unit_text.translate(_UNIT_TYPOGRAPHY).split())
    text = re.sub(r" ?/ ?", "/", text)
    text = re.sub(r"^(wt\.?|mass|w|mole?\.?|vol\.?) %", r"\1%", text)
    return re.sub(r"^° ", "°", text)
