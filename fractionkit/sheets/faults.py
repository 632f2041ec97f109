"""Collecting the faults of a sheet, so that all of them are told at once."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Mapping

from fractionkit.errors import Fault, InputError

# A column typed in the wrong unit is wrong in every row: after this many the rest are counted, not listed.
LISTED_PER_KIND = 10
LONGEST = 200  # characters of a value that are kept for the message


class Faults:
    """A growing list of faults of one file; `LISTED_PER_KIND` rows of the same kind in one column are listed."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.cut_short = False  # reading stopped before the end of the file
        self._kept: list[Fault] = []
        self._count: Counter[tuple[str | None, str]] = Counter()
        self._shifted: set[int] = set()

    def mute(self, row: int) -> None:
        """Note no more faults of this row: its cells stand under the wrong columns, they would only mislead."""
        self._shifted.add(row)

    def add(
        self,
        value: object,
        expected: str,
        *,
        row: int | None = None,
        column: str | None = None,
        kind: str | None = None,
    ) -> None:
        """Note a fault; ``kind`` groups faults whose ``expected`` differs only in a number."""
        if row in self._shifted:
            return
        key = (column, kind or expected)
        self._count[key] += 1
        if row is None or self._count[key] <= LISTED_PER_KIND:
            self._kept.append(Fault(_text(value), expected, self.file, row, column))

    def adopt(
        self,
        value: object,
        error: InputError,
        *,
        row: int | None = None,
        column: str | None = None,
        also: str = "",
    ) -> None:
        """Note what a parser expected, with the place in this file; ``also`` is added to its words."""
        for fault in error.faults:
            self.add(value, fault.expected + also, row=row, column=column)

    def all(self) -> list[Fault]:
        """The faults in the order of the file's rows, then the counts of those not listed."""
        listed = sorted(self._kept, key=lambda fault: fault.row or 0)
        more = [
            Fault(None, f"{kind} ({count - LISTED_PER_KIND} more rows have this fault)", self.file, None, name)
            for (name, kind), count in self._count.items()
            if count > LISTED_PER_KIND
        ]
        return listed + more

    def __bool__(self) -> bool:
        return bool(self._kept)


def nearest(word: str, known: Iterable[str]) -> str:
    """The words that come nearest to a mistyped one, as the end of a message; "" where none is near."""
    near = difflib.get_close_matches(word[:80].lower(), list(known), n=2, cutoff=0.55)
    return f"; did you mean {' or '.join(repr(name) for name in near)}?" if near else ""


def _text(value: object) -> str | None:
    """What was found, as it stands in a sheet: lists and tables as TOML writes them."""
    if value is None:
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_inner(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_inner(entry) for entry in value) + "]"
    return str(value)[:LONGEST]


def _inner(value: object) -> str:
    return f'"{value[:LONGEST]}"' if isinstance(value, str) else str(value)[:LONGEST]
