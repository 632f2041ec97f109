"""Lots made of cuts and bottles: combined, graded, labelled; what it would take for the rest."""

from fractionkit.release.make import make_lots, sheet_of_runs
from fractionkit.release.model import Release

__all__ = ["Release", "make_lots", "sheet_of_runs"]
