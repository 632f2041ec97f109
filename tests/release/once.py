"""Assessing a run and following a frontier take longest; tests of lots ask for the same ones again and again."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import pytest

from fractionkit.assessment import assess
from fractionkit.lots.frontier import frontier
from fractionkit.release import make, sources

_ASSESSED: dict = {}
_FRONTIERS: dict = {}


def assess_once(run):
    """`assess` by what the files say; where they lie is told anew."""
    file = Path(run.source)
    key = tuple(path.read_bytes() for path in sorted(file.parent.glob("*.*")) if path.suffix in (".toml", ".csv"))
    if key not in _ASSESSED:
        _ASSESSED[key] = assess(run)
    return dataclasses.replace(_ASSESSED[key], source=str(run.source))


def frontier_once(materials, want, *, points, draws):
    """`frontier` by masses and draws."""
    key = (tuple(material.mass for material in materials), repr(want), points, draws.tobytes())
    if key not in _FRONTIERS:
        _FRONTIERS[key] = frontier(materials, want, points=points, draws=draws)
    return _FRONTIERS[key]


@pytest.fixture(scope="module", autouse=True)
def each_once() -> Iterator[None]:
    """Import this name into a module of tests, and lots are made so there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sources, "assess", assess_once)
        patch.setattr(make, "frontier", frontier_once)
        yield
