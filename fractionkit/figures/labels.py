"""Names, colours and marks shared by the pictures, the report and the terminal table. Standard library only."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from fractionkit.assessment.model import Decision

ZERO_CELSIUS = 273.15
_UNSAFE = {"Cc", "Cf", "Cs", "Cn"}  # control, formatting, surrogate, unassigned (holds what XML forbids)


@dataclass(frozen=True)
class Mark:
    """How one decision is drawn. Colour is never alone: a hatch, a marker and the word go with it.

    The colours are taken from the palette of Okabe and Ito, "Color universal design" (2008), which stays apart for
    the common kinds of colour blindness.
    """

    word: str
    colour: str
    hatch: str
    marker: str


MARKS: dict[Decision, Mark] = {
    "keep": Mark("keep", "#009E73", "", "o"),
    "recycle": Mark("recycle", "#0072B2", "////", "s"),
    "redistil": Mark("redistil", "#E69F00", "||||", "^"),
    "waste": Mark("waste", "#666666", "xxxx", "X"),
}
DECISIONS: tuple[Decision, ...] = tuple(MARKS)


def plain(text: str) -> str:
    """Text on one line without control or formatting characters, which could steer a terminal or break XML."""
    signs = (" " if sign.isspace() else sign for sign in text)
    return " ".join("".join(sign for sign in signs if unicodedata.category(sign) not in _UNSAFE).split())


def shorten(text: str, length: int) -> str:
    """`plain` text of at most ``length`` characters, the end cut off with an ellipsis."""
    flat = plain(text)
    return flat if len(flat) <= length else flat[: max(length - 1, 0)].rstrip(" -,") + "…"


def short_names(names: Sequence[str], length: int) -> tuple[str, ...]:
    """Names of at most ``length`` (>= 6) characters that stay distinct.

    The beginning is kept where that tells them apart, otherwise beginning and end (1,2-dichloroethane from
    1,2-dichloroethylene), otherwise the position in the sheet.
    """
    length = max(length, 6)
    ends = tuple(shorten(name, length) for name in names)
    if len(set(ends)) == len(ends):
        return ends
    head = (length - 1) // 2
    tail = length - 1 - head
    middles = tuple(flat if len(flat) <= length else f"{flat[:head]}…{flat[-tail:]}" for flat in map(plain, names))
    if len(set(middles)) == len(middles):
        return middles
    return tuple(f"{shorten(name, length - 3)} {place}" for place, name in enumerate(names, 1))


def name_list(names: Sequence[str], limit: int = 12) -> str:
    """Join names as in ``C1, C2 and C3``; beyond ``limit`` the rest is counted, as in ``C1, C2 and 288 more``."""
    if not names:
        return "none"
    shown = [shorten(name, 40) for name in names]
    if len(shown) > limit:
        return ", ".join(shown[: limit - 1]) + f" and {len(shown) - limit + 1} more"
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]
