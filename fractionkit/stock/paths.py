"""Where the logbook lies when nobody says: in the user's data folder of this system."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

VARIABLE = "FRACTIONKIT_STOCK"
FILE_NAME = "stock.sqlite"


def default_path(
    environment: Mapping[str, str] | None = None, platform: str = sys.platform, home: Path | None = None
) -> Path:
    """The file that FRACTIONKIT_STOCK names, else ``stock.sqlite`` in the user's data folder.

    That folder is %APPDATA% on Windows, ~/Library/Application Support on macOS, elsewhere XDG_DATA_HOME, by default
    ~/.local/share (XDG Base Directory Specification 0.8, which ignores a path that is not absolute).
    """
    environment = os.environ if environment is None else environment
    told = environment.get(VARIABLE)
    if told:
        return Path(told)
    home = Path.home() if home is None else home
    if platform == "win32":
        folder = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        named = environment.get("XDG_DATA_HOME", "")
        folder = Path(named) if named.startswith("/") else home / ".local" / "share"
    return folder / "fractionkit" / FILE_NAME
