"""Cells of the exported tables: a spreadsheet must not take them for formulas, and every text must come back as it was.

A text that a spreadsheet might run (it begins, after spaces, with = + - @ or their wide forms, or with a tab or line end)
gets an apostrophe before it; so does one that begins with an apostrophe, and the empty text, to tell it from nothing.
(OWASP, "CSV Injection", names these signs.) Figures are written as figures.
"""

from __future__ import annotations

import base64

_DANGEROUS = "=+-@＝＋－＠"
_LINE_ENDS = "\t\r\n"


def cell(value: str | int | float | bytes | None) -> str:
    """A value as the text of a cell."""
    if value is None:
        return ""
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    if not isinstance(value, str):
        return repr(value)
    start = value.lstrip(" ")[:1]
    risky = not value or value[0] in "'" + _LINE_ENDS or (bool(start) and start in _DANGEROUS + _LINE_ENDS)
    return "'" + value if risky else value


def text(written: str) -> str | None:
    """A text from its cell; None where the cell is empty."""
    if not written:
        return None
    return written[1:] if written[0] == "'" else written


def data(written: str) -> bytes | None:
    """Bytes from their cell."""
    return base64.b64decode(written.encode("ascii"), validate=True) if written else None
