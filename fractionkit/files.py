"""Writing results so that nothing is lost or left half-written, and the text of a JSON document."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fractionkit.errors import Fault, InputError

_DIGITS = 12  # enough for every figure here, and 0.123 kg comes out as 123 g


def json_text(document: Mapping[str, Any]) -> str:
    """Write a document as indented JSON that ends with a line feed; never NaN or Infinity."""
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def number(value: float | None, factor: float = 1.0) -> float | None:
    """A figure in a document's unit, None where there is none or it is not finite."""
    if value is None:
        return None
    figure = float(value) * factor
    return float(f"{figure:.{_DIGITS}g}") if math.isfinite(figure) else None


def check_writable(path: Path) -> None:
    """Refuse an output path that cannot be written, before any work is done.

    Raises
    ------
    InputError
        if ``path`` is a folder, or its folder does not exist or may not be written.
    """
    if os.path.isdir(path):
        raise InputError(Fault(str(path), "the path of a file to write, not a folder"))
    folder = path.parent
    if not os.path.isdir(folder):
        raise InputError(Fault(str(path), f"a file in an existing folder; there is no folder {folder}"))
    if not os.access(folder, os.W_OK):
        raise InputError(Fault(str(path), f"a folder that may be written; {folder} may not"))


def write_text(path: Path, text: str) -> None:
    """Write ``text`` (UTF-8) to ``path`` in one step: the old file stays until the new one is whole.

    Raises
    ------
    InputError
        as `check_writable`, or if the disk refuses.
    """
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` in one step, as `write_text` does."""
    check_writable(path)
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(scratch, 0o666 & ~umask)
        os.replace(scratch, path)
    except OSError as error:
        if scratch:
            Path(scratch).unlink(missing_ok=True)
        raise InputError(Fault(str(path), f"a file that can be written ({error.strerror})")) from error
