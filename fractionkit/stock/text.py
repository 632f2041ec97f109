"""What people type into the logbook: any text goes in as it is; names are found however they are spelt."""

from __future__ import annotations

import datetime
import unicodedata
from collections.abc import Iterable, Mapping

from fractionkit.errors import Fault, InputError, clip

LONGEST_TEXT = 65536
LONGEST_NAME = 120


def checked(text: str, what: str) -> str:
    """A text as it was typed.

    Raises
    ------
    InputError
        where it holds a NUL or half a character (which no UTF-8 file can hold), or is longer than 65,536 characters.
    """
    if "\0" in text:
        raise InputError(Fault(text.replace("\0", "␀"), "a text without the character NUL", column=what))
    if any(unicodedata.category(sign) == "Cs" for sign in text):
        shown = text.encode("utf-8", "replace").decode("utf-8")
        raise InputError(Fault(shown, "a text in whole characters", column=what))
    if len(text) > LONGEST_TEXT:
        raise InputError(Fault(clip(text), f"at most {LONGEST_TEXT} characters; these are {len(text)}", column=what))
    return text


def shown(text: str) -> str:
    """A text as a message may show it: on one line, short, without signs that could steer a terminal."""
    return clip("".join(sign if sign.isprintable() else " " for sign in text), 40)


def checked_name(text: str, what: str) -> str:
    """A name by which something is found again: at least one visible character, at most 120 in all."""
    name = checked(text, what).strip()
    if not key(name):
        raise InputError(Fault(text, "a name with at least one letter or digit", column=what))
    if len(name) > LONGEST_NAME:
        raise InputError(Fault(clip(name), f"a name of at most {LONGEST_NAME} characters", column=what))
    return name


def checked_day(text: str | None, what: str = "day") -> str | None:
    """A date as ISO text; None stays None."""
    if text is None:
        return None
    try:
        return datetime.date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise InputError(Fault(text, "a date like 2026-05-09", column=what)) from None


def key(name: str) -> str:
    """The form under which names are compared: no case, no spaces, no hyphens or underscores."""
    folded = unicodedata.normalize("NFKC", name).casefold()
    kept = (sign for sign in folded if not sign.isspace() and sign not in "-_‐‑–")
    return "".join(sign for sign in kept if unicodedata.category(sign)[0] != "C")


def find(typed: str, names: Mapping[str, int], what: str) -> int:
    """Find one of ``names`` (name -> id): as typed, else without case and hyphens, else "C5" for the one "R7/C5".

    Raises
    ------
    InputError
        where there is none, or more than one.
    """
    if typed in names:
        return names[typed]
    sought = key(checked(typed, what))
    same = [name for name in names if key(name) == sought]
    ends = same or [name for name in names if "/" in name and key(name.rpartition("/")[2]) == sought]
    if sought and len(ends) == 1:
        return names[ends[0]]
    if sought and ends:
        raise InputError(Fault(typed, f"one of {', '.join(map(shown, ends))}", column=what))
    raise InputError(Fault(typed, f"a name of the logbook{_offer(sought, names)}", column=what))


def _offer(sought: str, names: Iterable[str]) -> str:
    import difflib

    keys = {key(name): name for name in names}
    near = difflib.get_close_matches(sought, keys, n=4, cutoff=0.5)
    offered = [keys[match] for match in near] or list(keys.values())[:8]
    return f", like {', '.join(map(shown, offered))}" if offered else "; it is empty"
