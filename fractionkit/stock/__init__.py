"""The bench logbook: batches, cuts, bottles, lots and their movements, in one SQLite file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fractionkit.stock.opening import open_stock
    from fractionkit.stock.paths import default_path
    from fractionkit.stock.shelf import Holding
    from fractionkit.stock.stock import Stock

__all__ = ["Holding", "Stock", "default_path", "open_stock"]

_HOMES = {"Holding": "shelf", "Stock": "stock", "default_path": "paths", "open_stock": "opening"}


def __getattr__(name: str) -> object:
    """Import a name when it is first asked for: the command line reads `paths` before it knows what is asked of it."""
    if name not in _HOMES:
        raise AttributeError(f"module 'fractionkit.stock' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"fractionkit.stock.{_HOMES[name]}"), name)
