"""Masses of the cuts and the balance of the charge."""

from fractionkit.balance.masses import Closure, Masses, Side, close, cut_masses
from fractionkit.readings.bench_balance import weighing_u

__all__ = ["Closure", "Masses", "Side", "close", "cut_masses", "weighing_u"]
