"""Fenced blocks of a Markdown text and the remarks before them.

A remark is an HTML comment on the line before a block, unseen on the page: ``<!-- file my-run/run.toml -->`` writes the
block to a file, ``<!-- show 1-4, 9- -->`` shows these lines of what a command prints ("9-": to the end),
``<!-- exit 2 -->`` expects that exit code.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

FENCE = re.compile(
    r"^(?P<remarks>(?:<!-- [^\n]* -->\n)*)```(?P<language>[a-z]+)\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL
)
REMARK = re.compile(r"<!-- (?P<word>\w+) (?P<rest>[^\n]*) -->")
GAP = "[...]"


@dataclass(frozen=True)
class Block:
    """One fenced block: where its body stands in the text, its language and the remarks by their first word."""

    start: int
    end: int
    language: str
    body: str
    remarks: dict[str, str]

    def commands(self) -> list[str]:
        """Commands as they stand there: from a "$ " to the end of the line, or of the last line that one with a backslash
        goes on in."""
        return [found.removeprefix("$ ") for found in re.findall(r"^\$ (?:.*\\\n)*.*$", self.body, re.MULTILINE)]


def blocks(text: str) -> list[Block]:
    """Fenced blocks in order."""
    return [
        Block(
            match.start("body"),
            match.end("body"),
            match["language"],
            match["body"],
            {remark["word"]: remark["rest"] for remark in REMARK.finditer(match["remarks"])},
        )
        for match in FENCE.finditer(text)
    ]


def chosen(lines: list[str], shown: str | None) -> list[str]:
    """Lines that ``shown`` ("1-4, 9-12", counted from 1) asks for ("9-": to the end), with a mark where some are left out."""
    if shown is None:
        return lines
    found: list[str] = []
    at = 0
    for part in shown.split(","):
        first, dash, last = part.strip().partition("-")
        stop = int(last) if last else len(lines) if dash else int(first)
        if not at < int(first) <= stop <= len(lines):
            raise ValueError(f"show {shown}: lines 1 to {len(lines)} in rising order are there")
        found += [GAP] * (int(first) > at + 1) + lines[int(first) - 1 : stop]
        at = stop
    return found + [GAP] * (at < len(lines))
