"""Writing result files so that nothing is lost or left half-written."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from fractionkit.errors import Fault, InputError


def check_writable(path: Path) -> None:
    """Refuse an output path that cannot be written, before any work is done.

    Raises
    ------
    InputError
        if ``path`` is a folder, or its folder does not exist or may not be written.
    """
    if path.is_dir():
        raise InputError(Fault(str(path), "the path of a file to write, not a folder"))
    folder = path.parent
    if not folder.is_dir():
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
    handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(scratch, 0o666 & ~umask)
        os.replace(scratch, path)
    except OSError as error:
        Path(scratch).unlink(missing_ok=True)
        raise InputError(Fault(str(path), f"a file that can be written ({error.strerror})")) from error
