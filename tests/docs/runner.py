"""Runs the blocks of the README one after the other in an empty folder, as a reader would."""

from __future__ import annotations

import contextlib
import io
import os
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path
from unittest import mock

from fractionkit.cli.main import main
from tests.docs.blocks import Block, blocks, chosen

WIDTH = 80
_TERMINAL = {"COLUMNS": str(WIDTH), "LINES": "50", "TERM": "dumb", "NO_COLOR": "1"}
_FORCES_COLOUR = ("FORCE_COLOR", "CLICOLOR_FORCE", "PY_COLORS")


@contextlib.contextmanager
def reader() -> Iterator[Path]:
    """An empty folder to work in and a terminal 80 wide without colours."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder, mock.patch.dict(os.environ, _TERMINAL):
        for name in _FORCES_COLOUR:
            os.environ.pop(name, None)
        os.chdir(folder)
        try:
            yield Path(folder)
        finally:
            os.chdir(here)


def run(command: str) -> tuple[str, int]:
    """What ``fractionkit ...`` or ``cat FILE`` prints, and its exit code."""
    name, *arguments = shlex.split(command.replace("\\\n", " "))
    if name == "cat":
        return "".join(Path(path).read_text(encoding="utf-8") for path in arguments), 0
    if name != "fractionkit":
        raise ValueError(f"the README runs fractionkit and cat only, not {name!r}")
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
        try:
            main(arguments)
        except SystemExit as end:
            return printed.getvalue(), int(end.code or 0)
    return printed.getvalue(), 0


def rendered(block: Block) -> str:
    """The body of a console block with what its commands print now."""
    lines: list[str] = []
    wanted = int(block.remarks.get("exit", "0"))
    for command in block.commands():
        printed, code = run(command)
        if code != wanted:
            raise AssertionError(f"{command}: exit code {code}, not {wanted}\n{printed}")
        out = [line.rstrip() for line in printed.rstrip().splitlines()]
        lines += [f"$ {command}", *chosen(out, block.remarks.get("show"))]
    return "\n".join(lines) + "\n"


def played(text: str) -> list[tuple[Block, str]]:
    """Every block whose body is the output of something, with that output; files are written and code is run in order."""
    found = []
    names: dict[str, object] = {}
    printed = io.StringIO()
    with reader():
        for block in blocks(text):
            if "file" in block.remarks:
                path = Path(block.remarks["file"])
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(block.body, encoding="utf-8")
            elif block.language == "console":
                found.append((block, rendered(block)))
            elif block.language == "python":
                printed = io.StringIO()
                with contextlib.redirect_stdout(printed):
                    exec(compile(block.body, "README.md", "exec"), names)
            elif block.language == "text":
                found.append((block, "\n".join(line.rstrip() for line in printed.getvalue().splitlines()) + "\n"))
    return found


def rewritten(text: str) -> str:
    """The text with every output block as it comes out now."""
    for block, body in reversed(played(text)):
        text = text[: block.start] + body + text[block.end :]
    return text
