"""Plans for the tests: a sheet of two or three solvents with set-ups of one's own."""

from __future__ import annotations

from pathlib import Path

from fractionkit.planning.compare import compare as compared
from fractionkit.quantities import parse
from fractionkit.sheets.model import PressureEntry, TargetEntry, ThermometerEntry
from fractionkit.sheets.still_model import FeedEntry, SetupEntry, StillEntry, StillSheet

NAMES = ("trichloroethylene", "tetrachloroethylene")


def compare(plan, count=40, **options):
    """Fewer scenarios than usual, for speed."""
    return compared(plan, count=count, **options)


def q(text, kind):
    return parse(text, kind)


def setup(stages, *reflux, holdup="0 mL", throughput="20 mL/min", name=None):
    return SetupEntry(
        name=name or f"{stages} stages",
        stages=q(stages, "number"),
        holdup=q(holdup, "volume"),
        throughput=None if throughput is None else q(throughput, "flow"),
        reflux=tuple(float(r) for r in reflux) or (3.0,),
        rows={"": 20},
    )


def sheet(*setups, purity=0.95, target=NAMES[0], share="50 ± 2 wt%", mass="900 g", names=NAMES, others=(), **still):
    composition = {
        names[0]: q(share, "fraction"),
        **{n: q(s, "fraction") for n, s in zip(names[1:-1], others, strict=True)},
    }
    return StillSheet(
        source=Path("STILL.toml"),
        title="A plan",
        date=None,
        components=tuple(names),
        feed=FeedEntry(mass=q(mass, "mass"), composition=composition, rest=names[-1]),
        pressure=PressureEntry(station=q("98.6 ± 0.4 kPa", "pressure")),
        thermometer=ThermometerEntry(bias=0.4),
        target=TargetEntry(target, purity, 0.95),
        still=StillEntry(heater=q("200 W", "power"), **still),
        setups=tuple(setups),
    )
