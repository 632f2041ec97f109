"""A plan for a distillation as it was written down, in SI: what `load_still` gives. Nothing here computes.

Inside, `u` is a standard uncertainty; a ``bias`` of the sheet (a 95 % half-width) is stored as one already.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fractionkit.sheets.model import PressureEntry, TargetEntry, ThermometerEntry

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity

Rank = Literal["kept mass", "kept mass per hour", "heat"]
PortionName = Literal["keep", "recycle", "redistil", "waste"]


@dataclass(frozen=True)
class FeedEntry:
    """What is to be distilled: a composition, cuts of a run, or bottles from the shelf; exactly one of the three.

    mass : kg; with a run or bottles, how much of them is taken (None: all).
    composition : component -> mass fraction with the uncertainty that was written; ``rest`` makes up the rest.
    run : folder or run.toml, with ``portion`` or ``cuts`` (neither: what the run calls recycle).
    bottles : names on the shelf; ``stock`` : the file of the shelf, None for the usual one.
    rows : line in the sheet of the section's keys, for messages.
    """

    mass: Quantity | None = None
    composition: Mapping[str, Quantity] = field(default_factory=dict)
    rest: str | None = None
    run: Path | None = None
    portion: PortionName | None = None
    cuts: tuple[str, ...] = ()
    bottles: tuple[str, ...] = ()
    stock: Path | None = None
    rows: Mapping[str, int | None] = field(default_factory=dict)


@dataclass(frozen=True)
class StillEntry:
    """The still itself; None where the sheet does not say.

    heater : W that go into the vapour. boilup : m3/s of boiling liquid. pot : m3. heel : m3 never distilled.
    cooling_in : K of the cooling water; cooling_rise : K it may warm up. longest : s that a distillation may take;
    startup : s from the first boiling to the first drop taken. receivers : how many stand ready.
    """

    heater: Quantity | None = None
    boilup: Quantity | None = None
    pot: float | None = None
    heel: float | None = None
    cooling_in: float | None = None
    cooling_rise: float | None = None
    longest: float | None = None
    startup: float | None = None
    receivers: int | None = None


@dataclass(frozen=True)
class SetupEntry:
    """One set-up to compare; what is None comes from the built-in ``column``, if one is named.

    name : as the tables call it. column : key of a built-in column. run : a run of one's own still, which tells its
    stages and hold-up. stages : theoretical stages, the pot counted.
    holdup : m3 of liquid in column and head. throughput : m3/s of boiling liquid, the most that it can carry.
    reflux : ratios L/D to try. rows : line in the sheet of each key and of the section ("").
    """

    name: str | None = None
    column: str | None = None
    run: Path | None = None
    stages: Quantity | None = None
    holdup: Quantity | None = None
    throughput: Quantity | None = None
    reflux: tuple[float, ...] = ()
    rows: Mapping[str, int | None] = field(default_factory=dict)


@dataclass(frozen=True)
class CampaignEntry:
    """Batches one after the other: how many, and how many cuts at most go back into the next charge."""

    batches: int | None = None
    carried: int | None = None


@dataclass(frozen=True)
class StillSheet:
    """STILL.toml, schema ``fractionkit/still/1``.

    components : canonical names, light to heavy not assumed; () where a run or bottles bring them. target : None where
    the sheet leaves it to the run. setups : () where the built-in columns are to be compared.
    """

    source: Path
    title: str
    date: datetime.date | None
    components: tuple[str, ...]
    feed: FeedEntry
    pressure: PressureEntry
    thermometer: ThermometerEntry = field(default_factory=ThermometerEntry)
    target: TargetEntry | None = None
    still: StillEntry = field(default_factory=StillEntry)
    setups: tuple[SetupEntry, ...] = ()
    rank: Rank = "kept mass"
    campaign: CampaignEntry = field(default_factory=CampaignEntry)
