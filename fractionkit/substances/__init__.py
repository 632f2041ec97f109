"""Catalogue of physical constants: every value with source, status and standard uncertainty."""

from fractionkit.substances.catalogue import canonical_name, catalogue, find, get, names, spread
from fractionkit.substances.model import (
    Antoine,
    DensityFit,
    Outlier,
    RefractiveFit,
    SourceValue,
    Substance,
    Value,
    cited,
)

__all__ = [
    "Antoine",
    "DensityFit",
    "Outlier",
    "RefractiveFit",
    "SourceValue",
    "Substance",
    "Value",
    "canonical_name",
    "catalogue",
    "cited",
    "find",
    "get",
    "names",
    "spread",
]
