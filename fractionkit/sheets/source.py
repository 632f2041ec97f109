"""Reading a text file that a person or a spreadsheet saved, in whatever encoding it chose."""

from __future__ import annotations

from pathlib import Path

from fractionkit.sheets.faults import Faults

LARGEST = 32 * 1024 * 1024  # bytes; 10,000 cuts with long notes are about 2 MB

_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet (.xlsx, .ods) or zip file",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet (.xls)",
    b"%PDF": "a PDF file",
}


def read_text(path: Path, faults: Faults) -> str | None:
    """The text of ``path``, without a byte order mark; None, and a fault noted, where it cannot be read.

    UTF-8, UTF-16 with a byte order mark (what spreadsheets call "Unicode text") and Windows-1252 are read.
    """
    try:
        if path.is_dir():
            faults.add(None, "a file; this is a folder")
            return None
        if not path.exists():
            faults.add(None, "a file that exists; check the spelling and the folder" + _beside(path))
            return None
        if not path.is_file():
            faults.add(None, "an ordinary file")
            return None
        if path.stat().st_size > LARGEST:
            faults.add(f"{path.stat().st_size / 1e6:.0f} MB", f"a text file of at most {LARGEST // 2**20} MB")
            return None
        data = path.read_bytes()
    except OSError as error:
        faults.add(None, f"a file that can be read ({error.strerror})")
        return None
    return _decode(data, faults)


def _beside(path: Path) -> str:
    """The files of the same sort in the folder of a file that is missing, for the message."""
    folder = path.parent
    if not folder.is_dir():
        return f"; there is no folder {folder}"
    others = sorted(other.name for other in folder.iterdir() if other.suffix.lower() == path.suffix.lower())
    return f"; in that folder: {', '.join(others[:5])}" if others else ""


def _decode(data: bytes, faults: Faults) -> str | None:
    for start, what in _NOT_TEXT.items():
        if data.startswith(start):
            faults.add(None, f"a plain text file; this is {what}: save the table as CSV (UTF-8)")
            return None
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    row = 1
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError as error:
            row = data.count(b"\n", 0, error.start) + 1
            continue
        place = text.find("\0")
        if place >= 0:
            row = text.count("\n", 0, place) + 1
            break
        return text
    faults.add(None, "text in UTF-8 or Windows-1252; this is neither: save it again as UTF-8", row=row)
    return None
