"""Where a command's results go: options that commands share, and writing them all or none."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from fractionkit.errors import Fault, InputError
from fractionkit.files import check_writable, write_bytes

STANDARD_OUTPUT = "-"

JsonOption = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON; - for standard output."),
]
ReportOption = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE.html", help="Write the report: one HTML file with pictures."),
]

Target = str | Path | None
Found = TypeVar("Found")


def check_outputs(*paths: Target) -> None:
    """Refuse output paths that cannot be written, or that name one file twice, before any work is done."""
    named = [str(path) for path in paths if path is not None]
    for place, name in enumerate(named):
        if name in named[:place]:
            raise InputError(Fault(name, "a file of its own for each of the outputs"))
        if name != STANDARD_OUTPUT:
            check_writable(Path(name))


def deliver(
    found: Found,
    show: Callable[[Found], object],
    *outputs: tuple[Target, Callable[[Found], str | bytes]],
    between: Callable[[], object] | None = None,
) -> None:
    """Write what was asked for, then show the result unless one of the texts went to standard output.

    Parameters
    ----------
    found
        The result.
    show
        Prints it at the terminal.
    *outputs
        Each path with what makes its content of the result. All contents are made before the first is written, so
        that a failure leaves no partial set behind; a path that is None asks for nothing.
    between
        What is done when all contents are made and none is written yet.

    """
    contents = [(str(path), make(found)) for path, make in outputs if path is not None]
    if between is not None:
        between()
    for path, content in contents:
        if path != STANDARD_OUTPUT:
            write_bytes(Path(path), content if isinstance(content, bytes) else content.encode("utf-8"))
        elif isinstance(content, bytes):
            sys.stdout.buffer.write(content)
        else:
            sys.stdout.write(content if content.endswith("\n") else content + "\n")
    if all(path != STANDARD_OUTPUT for path, _ in contents):
        show(found)
        for path, _ in contents:
            typer.echo(f"written: {path}")
