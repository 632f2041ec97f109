"""Laying a page out on paper, where the libraries for it are; where they are not, that the product says so."""

from __future__ import annotations

import re
import zlib

from fractionkit.errors import InputError
from fractionkit.report.pdf import pdf_bytes

POINT = 25.4 / 72  # mm


def sheets(html: str) -> list[tuple[float, float]] | None:
    """Width and height in mm of each page; None where no PDF can be made here, and the message names what is missing."""
    try:
        data = pdf_bytes(html)
    except InputError as error:
        assert "WeasyPrint" in str(error)  # noqa: PT017
        assert error.exit_code == 2  # noqa: PT017
        return None
    assert data.startswith(b"%PDF-")
    boxes = re.findall(rb"/MediaBox ?\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", whole(data))
    return [(float(width) * POINT, float(height) * POINT) for width, height in boxes]


def pages(html: str) -> int | None:
    """How many pages; None as `sheets`."""
    found = sheets(html)
    return None if found is None else len(found)


def whole(data: bytes) -> bytes:
    """A PDF with its compressed streams laid open beside it."""
    opened = []
    for stream in re.findall(rb"(?<!end)stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            opened.append(zlib.decompressobj().decompress(stream))
        except zlib.error:
            continue
    return data + b"\n".join(opened)
