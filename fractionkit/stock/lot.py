"""Booking a lot that was made up elsewhere: its parents leave their places, its papers stay with it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from fractionkit.quantities import Estimate
from fractionkit.stock import acts
from fractionkit.stock.draft import Draft
from fractionkit.stock.rows import Place

SHELF = ("", "shelf")


class Parent(Protocol):
    """Part of a cut or bottle that went into a lot; ``mass`` in kg."""

    @property
    def origin(self) -> str:
        """Run or "shelf"."""

    @property
    def name(self) -> str:
        """Cut or bottle."""

    @property
    def mass(self) -> float:
        """How much was taken, kg."""


class Kept(Protocol):
    """What keeps the lot; dates in ISO."""

    @property
    def added(self) -> str | None:
        """Stabiliser put in, None where none was."""

    @property
    def retest_by(self) -> str | None:
        """ISO date, None where there is none."""

    @property
    def text(self) -> str:
        """What is said of it."""


class Graded(Protocol):
    """A grade and whether it may be claimed."""

    @property
    def title(self) -> str:
        """As it is called."""

    @property
    def claimed(self) -> bool:
        """Whether all its attributes are met."""


class LotMade(Protocol):
    """What the logbook needs to know of a lot; `fractionkit.release.model.MadeLot` is one. The room above is not imported."""

    @property
    def number(self) -> str:
        """Lot number."""

    @property
    def title(self) -> str:
        """As it is called."""

    @property
    def date(self) -> str:
        """ISO date."""

    @property
    def target(self) -> str:
        """Component that is wanted."""

    @property
    def purity(self) -> float:
        """Mass fraction wanted."""

    @property
    def confidence(self) -> float:
        """Probability asked for."""

    @property
    def parents(self) -> Sequence[Parent]:
        """What went in."""

    @property
    def assay(self) -> Estimate:
        """Mass fraction of the target."""

    @property
    def probability_meets_target(self) -> float:
        """From 0 to 1."""

    @property
    def meets_target(self) -> bool:
        """Whether it may be called so."""

    @property
    def grades(self) -> Sequence[Graded]:
        """Grades judged."""

    @property
    def label(self) -> Sequence[str]:
        """Lines of the label."""

    @property
    def stabiliser(self) -> Kept:
        """What keeps it."""

    @property
    def storage(self) -> Sequence[str]:
        """How it is kept."""


def book_lot(draft: Draft, lot: LotMade) -> Place:
    """Write the rows of a lot.

    A parent whose origin is "shelf" is a bottle (or any place) by its name; any other origin is a run of the logbook, told
    by the path of its sheet or folder, by its title or as "R7", and the name is that of the cut.
    """
    parts = [(_place(draft, parent).name, parent.mass) for parent in lot.parents]
    notes = [
        acts.Noted(attribute, value)
        for attribute, value in (
            (acts.STABILISER, lot.stabiliser.added),
            (acts.RETEST, lot.stabiliser.retest_by),
        )
        if value
    ]
    return acts.combine(draft, lot.number, lot.title, parts, notes, acts.document_text(_document(lot)))


def _place(draft: Draft, parent: Parent) -> Place:
    if parent.origin in SHELF:
        return draft.find(parent.name)
    path = Path(parent.origin)
    if os.path.isdir(path):
        path = path / "run.toml"
    batch = acts.run_named(draft.ledger, parent.origin, str(path.absolute()))
    return acts.cut_of(draft.ledger, batch, parent.name)


def _document(lot: LotMade) -> dict[str, object]:
    """What was written of the lot when it was made."""
    return {
        "number": lot.number,
        "title": lot.title,
        "date": lot.date,
        "target": lot.target,
        "purity": lot.purity,
        "confidence": lot.confidence,
        "assay": {"estimate": lot.assay.estimate, "low": lot.assay.low, "high": lot.assay.high},
        "probability_meets_target": lot.probability_meets_target,
        "meets_target": bool(lot.meets_target),
        "grades": [grade.title for grade in lot.grades if grade.claimed],
        "label": list(lot.label),
        "stabiliser": lot.stabiliser.text,
        "storage": list(lot.storage),
    }
