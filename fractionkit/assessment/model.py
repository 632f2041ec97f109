"""The assessed run: what the report, the pictures and the commands read. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.lots.material import Material
from fractionkit.quantities import Estimate, Flag
from fractionkit.readings.terms import Correction

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
#: Probabilities of readings at least as discordant, below which they are said to fit poorly (one run in twenty does by
#: accident), to be hard to reconcile, and to be at odds.
FITS_POORLY, DOUBTFUL, AT_ODDS = 0.05, 0.01, 1e-4
Decision = Literal["keep", "recycle", "redistil", "waste"]


@dataclass(frozen=True)
class AssessedCut:
    """One cut: composition by component name (mass fractions), decision and the reason for it in words."""

    name: str
    mass: float | None  # kg; None where neither mass nor volume with density was given
    composition: dict[str, Estimate]
    decision: Decision
    reason: str
    probability_meets_target: float | None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Lot:
    """The kept cuts combined. ``assay``: mass fraction of the target; ``label``: what may honestly be written."""

    cuts: tuple[str, ...]
    mass: float
    assay: Estimate | None
    probability_meets_target: float
    meets_target: bool
    label: tuple[str, ...] = ()  # lines of text
    not_tested: tuple[str, ...] = ()


@dataclass(frozen=True)
class Portion:
    """Cuts that go the same way (recycle, redistil, waste): how many, how much, what is in them on the whole."""

    decision: Decision
    cuts: tuple[str, ...]
    mass: float
    composition: dict[str, Estimate]


@dataclass(frozen=True)
class Balance:
    """Charge = cuts + residue + hold-up + loss, kg; per component where the charge's composition is known."""

    charge: float | None
    charge_u: float
    recovered: float
    residue: float | None
    holdup: float | None
    loss: Estimate | None
    components: dict[str, dict[str, Estimate]] = field(
        default_factory=dict
    )  # component -> {"charge","recovered","loss"}


@dataclass(frozen=True)
class Curve:
    """What the pictures draw for a pair of components: fractions (m,), and the model's property along it."""

    component: str  # the one whose mass fraction runs along the axis
    other: str
    fraction: Array
    density: Array  # kg/m3 at `temperature`
    density_u: Array
    temperature: float
    bubble: Array  # K at the run's pressure
    dew: Array
    straight_density: Array  # volumes adding, handbook values: to compare


@dataclass(frozen=True)
class PlottedReadings:
    """Readings after correction, for the pictures: arrays (K,), NaN where not taken."""

    head_start: Array
    head_end: Array
    density: Array  # moved to Curve.temperature
    density_u: Array
    mass: Array


@dataclass(frozen=True)
class Constant:
    """A constant used, with its source."""

    what: str
    value: str
    source: str


@dataclass(frozen=True)
class Caution:
    """One caution of a substance in the sheet."""

    substance: str
    kind: str  # "hazard", "exposure limit", "incompatible with", "stabiliser", "law", "distilling", "waste"
    text: str
    source: str


@dataclass(frozen=True)
class Finding:
    """What the run says of an instrument: the error's interval before and after, in SI."""

    instrument: str
    unit: str
    before: Estimate
    after: Estimate
    text: str


@dataclass(frozen=True)
class Assessment:
    """Everything `fractionkit assess` has to say of one run."""

    title: str
    date: str | None
    source: str
    components: tuple[str, ...]
    target: str | None
    purity: float | None
    confidence: float | None
    pressure: float  # Pa at the still
    pressure_u: float
    cuts: tuple[AssessedCut, ...]
    lot: Lot | None
    portions: tuple[Portion, ...]
    balance: Balance
    findings: tuple[Finding, ...]
    corrections: tuple[Correction, ...]
    constants: tuple[Constant, ...]
    cautions: tuple[Caution, ...]
    flags: tuple[Flag, ...]
    readings: PlottedReadings
    curve: Curve | None
    effective_samples: float
    advice: tuple[str, ...]  # what to measure next, most useful first; empty unless asked for
    consistency: float  # probability of readings at least as discordant as these, were the model true
    draws: Array  # (D, K, n) joint draws of the cuts' mass fractions: in a draw all cuts share the instruments' errors
    mass_u: Array  # (K,) kg, NaN where the mass is unknown
    residue_draws: Array | None = None  # (D, n), where the sheet says something of the residue

    @property
    def at_odds(self) -> bool:
        """Whether the readings are so discordant that no honest answer stands."""
        return any(flag.code == "readings_at_odds" for flag in self.flags)

    def material(self, cut: str) -> Material:
        """A cut with its mass and draws, to combine, distil again or put on the shelf; its origin is the sheet.

        Raises
        ------
        InputError
            if there is no such cut, or its mass is unknown.
        """
        names = [found.name for found in self.cuts]
        if cut not in names:
            raise InputError(Fault(cut, f"a cut of {self.title}: {', '.join(names)}", self.source, column="cut"))
        k = names.index(cut)
        mass = self.cuts[k].mass
        if mass is None:
            raise InputError(Fault(None, f"a mass of {cut}; without it the cut cannot be combined", self.source))
        return Material(cut, self.components, mass, float(self.mass_u[k]), self.draws[:, k], self.source)

    def portion(self, decision: Decision) -> tuple[Material, ...]:
        """The cuts that go one way (keep, recycle, redistil, waste), those whose mass is known."""
        return tuple(self.material(c.name) for c in self.cuts if c.decision == decision and c.mass is not None)

    @property
    def table(self) -> pd.DataFrame:
        """One row a cut, index ``cut``.

        Columns: mass_g, decision, probability_meets_target, and for each component its estimate with the ends of the 95 %
        interval as mass fractions (``chloroform``, ``chloroform_low``, ``chloroform_high``).
        """
        import pandas as pd  # here, because it takes longer to import than a run takes to assess

        rows = []
        for cut in self.cuts:
            row: dict[str, object] = {
                "cut": cut.name,
                "mass_g": None if cut.mass is None else 1e3 * cut.mass,
                "decision": cut.decision,
                "probability_meets_target": cut.probability_meets_target,
            }
            for name, found in cut.composition.items():
                row |= {name: found.estimate, f"{name}_low": found.low, f"{name}_high": found.high}
            rows.append(row)
        return pd.DataFrame(rows).set_index("cut")
