"""A lot as it was written down: what the sheet of a lot holds once it is read. Nothing here computes."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from fractionkit.quantities import Quantity

LotRule = Literal["guarded", "simple", "rounded"]


@dataclass(frozen=True)
class EnteredTest:
    """An attribute of a lot that was tested otherwise than by distilling.

    attribute : like "water". result : a quantity, or the words found. method : as written, "" where not told.
    high : upper end, where ``result`` is the lower one: of a boiling range, and of "< 0.005 wt%" (result 0).
    temperature : K, of a density. target : the lot it was made of, by number of the target, None for all.
    """

    attribute: str
    result: Quantity | str
    method: str = ""
    high: Quantity | None = None
    temperature: float | None = None
    target: int | None = None


@dataclass(frozen=True)
class LotRun:
    """A run that lots are made of. cuts : those that may be used, None for all."""

    path: Path
    cuts: tuple[str, ...] | None = None


@dataclass(frozen=True)
class LotTarget:
    """One lot that is wanted. component : canonical name. purity, with ``step``, its last digit, and confidence : 0 to 1.

    grades : that it is held against, () for all that are known of the substance. price : of one kg. whole : whether cuts
    go in whole or not at all. least : smallest part of a cut that is worth pouring. most : kg.
    """

    component: str
    purity: float
    confidence: float = 0.95
    rule: LotRule = "guarded"
    step: float = 0.01
    grades: tuple[str, ...] = ()
    price: float | None = None
    whole: bool = False
    least: float = 0.0
    most: float | None = None


@dataclass(frozen=True)
class AddedStabiliser:
    """Stabiliser that was added again. amount : of the lot, as written. target : number of the lot, None for all."""

    added: str
    amount: str = ""
    added_on: datetime.date | None = None
    retest_by: datetime.date | None = None
    target: int | None = None


@dataclass(frozen=True)
class Effort:
    """What a distillation takes: time (s), energy (J), fresh solvent (kg); None where not told."""

    labour: float | None = None
    energy: float | None = None
    makeup: float | None = None


@dataclass(frozen=True)
class Economics:
    """Prices, all the user's own: per hour, per kWh, and per kg; None where not told."""

    currency: str = ""
    labour_rate: float | None = None
    energy_price: float | None = None
    makeup_price: float | None = None
    disposal_price: float | None = None
    new_price: float | None = None
    effort: Effort = field(default_factory=Effort)


@dataclass(frozen=True)
class AnotherPass:
    """Distilling once more what was left. kept : kg that it is expected to add, with its uncertainty."""

    kept: Quantity
    effort: Effort = field(default_factory=Effort)


@dataclass(frozen=True)
class LotSheet:
    """Everything that lot.toml says. number : None where it is to be made. bottles : of the stock in ``stock``."""

    source: str
    title: str
    date: datetime.date | None
    number: str | None
    runs: tuple[LotRun, ...]
    bottles: tuple[str, ...]
    targets: tuple[LotTarget, ...]
    stock: Path | None = None
    grades_file: Path | None = None
    tests: tuple[EnteredTest, ...] = ()
    stabiliser: AddedStabiliser | None = None
    economics: Economics | None = None
    another_pass: AnotherPass | None = None
    storage: tuple[str, ...] = ()
