"""Where a command's results go: options that commands share, and writing them all or none."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from fractionkit.files import check_writable, write_text

STANDARD_OUTPUT = "-"

JsonOption = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON; - for standard output."),
]
ReportOption = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE.html", help="Write the report: one HTML file with pictures."),
]


def check_outputs(*paths: str | Path | None) -> None:
    """Refuse output paths that cannot be written before any work is done."""
    for path in paths:
        if path is not None and str(path) != STANDARD_OUTPUT:
            check_writable(Path(path))


def write_outputs(*outputs: tuple[str | Path | None, Callable[[], str]]) -> None:
    """Make all texts first, then write them, so that a failure leaves no partial set behind."""
    texts = [(str(path), make()) for path, make in outputs if path is not None]
    for path, text in texts:
        if path == STANDARD_OUTPUT:
            sys.stdout.write(text if text.endswith("\n") else text + "\n")
        else:
            write_text(Path(path), text)
