"""fractionkit: what is in each cut of a distilled chlorinated solvent, how sure that is, and what to do with it.

>>> from fractionkit import Mixture, load_run, assess  # doctest: +SKIP
>>> result = assess(load_run("run.toml"))  # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fractionkit.assessment import assess
    from fractionkit.mixture import Mixture
    from fractionkit.sheets import load_run
    from fractionkit.still import distil

__all__ = ["Mixture", "assess", "distil", "load_run"]
__version__ = "0.1.0"

_HOMES = {
    "Mixture": "fractionkit.mixture",
    "assess": "fractionkit.assessment",
    "distil": "fractionkit.still",
    "load_run": "fractionkit.sheets",
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first used: a command that needs no still does not pay for one."""
    if name not in _HOMES:
        raise AttributeError(f"module 'fractionkit' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
