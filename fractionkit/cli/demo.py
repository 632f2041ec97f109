"""`fractionkit demo DIR`: a demo run to start from, copied into a folder."""

from __future__ import annotations

import shlex
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fractionkit.errors import Fault, InputError
from fractionkit.files import write_text

FILES = ("run.toml", "cuts.csv", "README.md")


class DemoRun(StrEnum):
    """The runs that are shipped."""

    BINARY = "binary"
    TERNARY = "ternary"


def command(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder to write into; made if it does not exist.", show_default=False)
    ],
    run: Annotated[DemoRun, typer.Option("--run", help="Which demo run.")] = DemoRun.BINARY,
) -> None:
    """Write a demo run (invented data) into a folder, to try the tool or to start a run of your own from."""
    texts = {name: (_source(run) / name).read_text(encoding="utf-8") for name in FILES}
    try:
        _check_free(folder)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(Fault(str(folder), f"a folder that can be made ({error.strerror})")) from error
    for name, text in texts.items():
        write_text(folder / name, text)
    print(f"written: {', '.join(str(folder / name) for name in FILES)}")
    print("These are INVENTED DATA; README.md beside them says how they were made. Next:")
    print(f"\n    fractionkit assess {_quoted(folder)}\n")


def _source(run: DemoRun) -> Path:
    """The folder of a demo run: inside the installed package, or data/ of the source tree."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "demo_runs"
    runs = installed if installed.is_dir() else package.parent / "data"
    return runs / f"demo_{run.value}"


def _check_free(folder: Path) -> None:
    """Refuse to write over anything: a run of one's own may stand there."""
    if folder.exists() and not folder.is_dir():
        raise InputError(Fault(str(folder), "a folder; this is a file"))
    there = [name for name in FILES if (folder / name).exists()]
    if there:
        expected = f"a folder without {', '.join(there)}; nothing is overwritten, name another folder"
        raise InputError(Fault(str(folder), expected))


def _quoted(folder: Path) -> str:
    """The folder as it must be typed at this system's prompt."""
    text = str(folder)
    if sys.platform == "win32":
        return f'"{text}"' if " " in text else text
    return shlex.quote(text)
