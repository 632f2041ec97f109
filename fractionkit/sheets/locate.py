"""On which line of run.toml a key stands; the TOML reader does not say."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[\w-]+|"[^"]*"|'[^']*'""")


class Lines:
    """Line numbers of sections and keys; a key inside ``{ }`` has its parent's line."""

    def __init__(self, text: str) -> None:
        self._at: dict[tuple[str | int, ...], int] = {}
        counts: dict[tuple[str | int, ...], int] = {}
        section: tuple[str | int, ...] = ()
        for number, line in enumerate(text.split("\n"), start=1):
            if header := _HEADER.match(line):
                section = _parts(header[2])
                if header[1] == "[[":
                    index = counts.get(section, 0)
                    counts[section] = index + 1
                    section = (*section, index)
                self._at.setdefault(section, number)
            elif key := _KEY.match(line):
                self._at.setdefault(section + _parts(key[1]), number)

    def of(self, *path: str | int) -> int | None:
        """The line of the longest part of ``path`` that was found; None where not even its first part was."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._at:
                return self._at[path[:length]]
        return None


def _parts(text: str) -> tuple[str | int, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(text))
