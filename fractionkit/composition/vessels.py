"""The vessels of a run: its cuts, then the residue, then the charge, so that all of them are evidence alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Balance
from fractionkit.courses.pots import BIAS, REPEAT
from fractionkit.quantities import Quantity
from fractionkit.readings import Measured, weighing_u
from fractionkit.readings.density_inputs import DensityReadings
from fractionkit.sheets import ChargeEntry, Run

Array = NDArray[np.float64]

RESIDUE, CHARGE = "residue", "charge"
STATED_U = 0.003  # mass fraction: a composition stated without an uncertainty is taken to be rounded to half a percent
ROUGH_DENSITY = 1400.0  # kg/m3, for the share of a cut in the balance when it was neither weighed nor its density taken


@dataclass(frozen=True)
class Vessels:
    """Names (V,) of the cuts and of what follows them."""

    names: tuple[str, ...]
    cuts: int
    residue: ChargeEntry | None
    charge: ChargeEntry | None

    @classmethod
    def of(cls, run: Run) -> Vessels:
        """The residue counts where it was weighed; the charge where besides its mass something tells what is in it."""
        residue = run.residue if run.residue is not None and run.residue.mass is not None else None
        charge = run.charge if run.charge is not None and run.charge.mass is not None and _told(run.charge) else None
        extra = [name for name, entry in ((RESIDUE, residue), (CHARGE, charge)) if entry is not None]
        return cls((*run.cuts.names, *extra), len(run.cuts), residue, charge)

    @property
    def entries(self) -> tuple[ChargeEntry, ...]:
        """What follows the cuts."""
        return tuple(entry for entry in (self.residue, self.charge) if entry is not None)

    @property
    def extra(self) -> int:
        """How many vessels follow the cuts."""
        return len(self.entries)

    def padded(self, values: Array) -> Array:
        """(K, ...) readings of the cuts, NaN for what follows them."""
        shape = (self.extra, *values.shape[1:])
        return np.concatenate([values, np.full(shape, np.nan)])

    def extended(self, kind: Measured) -> Measured:
        """Readings that only the cuts have."""
        shared = {name: np.nan_to_num(self.padded(part)) for name, part in kind.shared.items()}
        return Measured(self.padded(kind.value), self.padded(kind.repeat), shared, kind.corrections, kind.warnings)

    def pot(self, run: Run) -> Measured | None:
        """Pot temperatures, None where none was read or what was left in the pot is not a vessel.

        What is read when a receiver is taken away is of all that comes after it.
        """
        read = run.cuts.pot_temperature
        if self.residue is None or np.isnan(read).all():
            return None
        value = np.full(len(self.names), np.nan)
        value[1 : self.cuts + 1] = read
        return pot_readings(value)

    def densities(self, run: Run) -> DensityReadings:
        """Densities of all vessels as written."""
        cuts = run.cuts
        written = [entry.density for entry in self.entries]
        value = [np.nan if density is None else density.value for density in written]
        gravity = [density is not None and density.kind == "specific_gravity" for density in written]
        basis = [(np.nan, np.nan) if d is None or d.basis is None else d.basis for d in written]
        at = [np.nan if e.density_temperature is None else e.density_temperature for e in self.entries]
        return DensityReadings(
            value=np.concatenate([cuts.density, value]),
            is_gravity=np.concatenate([cuts.density_kind == "sg", np.array(gravity, dtype=bool)]),
            basis=np.concatenate([cuts.sg_basis, np.reshape(basis, (-1, 2))]),
            temperature=np.concatenate([cuts.density_temperature, at]),
            filled_mass=self.padded(cuts.filled_mass),
        )

    def stated(self, run: Run) -> tuple[Array | None, Array | None]:
        """Mass fractions (V, n) known from elsewhere and their u: a second laboratory's, the charge's, the residue's."""
        value = np.full((len(self.names), len(run.components)), np.nan)
        u = value.copy()
        told: list[tuple[int, str, Quantity]] = [
            (run.cuts.names.index(result.cut), result.component, result.fraction) for result in run.results
        ]
        for row, entry in enumerate(self.entries, start=self.cuts):
            told += [(row, name, quantity) for name, quantity in entry.composition.items()]
        for row, name, quantity in told:
            i = run.components.index(name)
            value[row, i] = quantity.value
            u[row, i] = STATED_U if quantity.u is None else quantity.u
        return (value, u) if told else (None, None)

    def balance(self, run: Run) -> Balance:
        """Masses of the vessels besides the charge, and the charge's."""
        density = np.where(run.cuts.density_kind == "density", run.cuts.density, ROUGH_DENSITY)
        rough = run.cuts.volume * np.nan_to_num(density, nan=ROUGH_DENSITY)
        mass = np.where(np.isfinite(run.cuts.mass), run.cuts.mass, rough)
        if self.residue is not None and self.residue.mass is not None:
            mass = np.append(mass, self.residue.mass.value)
        holdup = float("nan") if run.holdup is None else run.holdup.value
        if self.charge is None or self.charge.mass is None:
            return Balance(mass, ordered=run.ordered, holdup=holdup)
        charge = self.charge.mass
        u = float(weighing_u(charge.value)) if charge.u is None else charge.u
        return Balance(mass, charge.value, u, run.ordered, holdup)


def pot_readings(value: Array) -> Measured:
    """Pot temperatures (V,) in K, NaN where none: entry v of the pot that still held vessel v and all after it."""
    return Measured(value, np.where(np.isfinite(value), np.hypot(BIAS, REPEAT), np.nan))


def _told(entry: ChargeEntry) -> bool:
    return entry.density is not None or bool(entry.composition)
