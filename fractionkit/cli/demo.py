"""`fractionkit demo DIR`: a demo to start from, copied into a folder."""

from __future__ import annotations

import shlex
import sys
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fractionkit.errors import Fault, InputError
from fractionkit.files import write_text


class Kind(StrEnum):
    """What is shipped."""

    BINARY = "binary"
    TERNARY = "ternary"
    ALIQUOTS = "aliquots"
    STILL = "still"
    COLUMN = "column"
    LOT = "lot"


@dataclass(frozen=True)
class Demo:
    """Files as they will be written -> where they stand among the shipped ones; ``command`` to try on them."""

    files: dict[str, str]
    command: str
    sheet: str = ""  # the file that the command takes, "" for the folder


def _files(folder: str, *names: str, into: str = "") -> dict[str, str]:
    return {f"{into}{name}": f"{folder}/{name}" for name in names}


_RUN = ("run.toml", "cuts.csv", "README.md")
DEMOS = {
    Kind.BINARY: Demo(_files("demo_binary", *_RUN), "assess"),
    Kind.TERNARY: Demo(_files("demo_ternary", *_RUN), "assess"),
    Kind.ALIQUOTS: Demo(_files("demo_aliquots", "aliquots.toml", "aliquots.csv", "README.md"), "aliquots"),
    Kind.STILL: Demo(_files("demo_still", "STILL.toml", "README.md"), "plan", "STILL.toml"),
    Kind.COLUMN: Demo(_files("demo_column", *_RUN), "stages"),
    Kind.LOT: Demo(
        _files("demo_lot", "LOT.toml", "README.md", into="lot/") | _files("demo_binary", *_RUN, into="demo_binary/"),
        "lot",
        "lot/LOT.toml",
    ),
}


def command(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder to write into; made if it does not exist.", show_default=False)
    ],
    kind: Annotated[Kind, typer.Option("--kind", help="What to write.")] = Kind.BINARY,
) -> None:
    """Write a demo (invented data) into a folder, to try the tool or to start a sheet of your own from."""
    demo = DEMOS[kind]
    texts = {name: (_shipped() / path).read_text(encoding="utf-8") for name, path in demo.files.items()}
    try:
        _check_free(folder, demo)
        for name in texts:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(Fault(str(folder), f"a folder that can be made ({error.strerror})")) from error
    for name, text in texts.items():
        write_text(folder / name, text)
    print(f"written: {', '.join(str(folder / name) for name in texts)}")
    print("These are INVENTED DATA; README.md beside them says how they were made. Next:")
    print(f"\n    fractionkit {demo.command} {_quoted(folder / demo.sheet if demo.sheet else folder)}\n")


def _shipped() -> Path:
    """The folder of the demos: inside the installed package, or data/ of the source tree."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "demo_runs"
    return installed if installed.is_dir() else package.parent / "data"


def _check_free(folder: Path, demo: Demo) -> None:
    """Refuse to write over anything: a run of one's own may stand there."""
    if folder.exists() and not folder.is_dir():
        raise InputError(Fault(str(folder), "a folder; this is a file"))
    there = [name for name in demo.files if (folder / name).exists()]
    if there:
        expected = f"a folder without {', '.join(there)}; nothing is overwritten, name another folder"
        raise InputError(Fault(str(folder), expected))


def _quoted(folder: Path) -> str:
    """The folder as it must be typed at this system's prompt."""
    text = str(folder)
    if sys.platform == "win32":
        return f'"{text}"' if " " in text else text
    return shlex.quote(text)
