"""The bench logbook: batches, cuts, bottles, lots and their movements, in one SQLite file."""

from fractionkit.stock.opening import open_stock
from fractionkit.stock.paths import default_path
from fractionkit.stock.shelf import Holding
from fractionkit.stock.stock import Stock

__all__ = ["Holding", "Stock", "default_path", "open_stock"]
