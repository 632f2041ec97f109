"""Runs through stills whose stages and hold-up are known, read with instruments and written down as sheets.

Truth: the proof's other thermodynamic model and other constants (`tests.proof.truth.draw_truth`), or for the control
constants from the estimator's own prior. Receivers are changed a little late or early, masses weighed, a little vapour
is lost, and what the column held drains into the residue.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import COVERAGE_95, Quantity
from fractionkit.sheets import ChargeEntry, CutTable, DensityEntry, PressureEntry, Run, ThermometerEntry
from fractionkit.sheets.model import ColumnEntry, TargetEntry
from fractionkit.still import Charge, Stepped, distil
from tests.proof.more import POT_BIAS, POT_REPEAT
from tests.proof.simulate import GOOD, PLAIN, Quality
from tests.proof.truth import Truth, draw_control, draw_truth

Array = NDArray[np.float64]

CHARGE = 1.4
SWAY = 0.0015  # standard deviation, in parts of the charge, of when a receiver is changed
LOST = 0.004
SOLUTE, MOST_SOLUTE, RISE = 0.04, 0.6, 27.0  # moles for one of residue: median, most; K for a factor of e in pressure

__all__ = ["GOOD", "PLAIN", "Quality", "World", "number", "worlds"]


@dataclass(frozen=True)
class World:
    """A sheet and what was true: stages, hold-up in parts of the charge (mol), reflux, w (K, n) of the cuts."""

    run: Run
    stages: float
    holdup: float
    reflux: float
    w: Array


def number(value: float, half: float | None = None) -> Quantity:
    """Stages or a reflux ratio as it might be typed, ``half`` its 95 % half-width."""
    return Quantity(value, None if half is None else half / COVERAGE_95, "number", f"{value:g}")


def worlds(
    names: Sequence[str],
    stages: Sequence[float],
    holdup: Sequence[float],
    seed: int,
    *,
    quality: Quality = PLAIN,
    control: bool = False,
    cuts: int = 8,
    sway_reflux: float = 0.0,
    pots: bool = False,
) -> list[World]:
    """One run for each of ``stages`` and ``holdup``; ``sway_reflux``: part by which the reflux changes midway; ``pots``:
    whether the pot was read whenever a receiver was taken away.
    """
    rng = np.random.default_rng([seed, *(sum(map(ord, name)) for name in names)])
    size, n = len(stages), len(names)
    truth = (draw_control if control else draw_truth)(names, size, rng)
    feed = 0.12 + (1.0 - 0.12 * n) * rng.dirichlet(np.full(n, 3.0), size)
    reflux = rng.uniform(1.5, 5.0, size)
    pressure = rng.uniform(94e3, 103e3, size)
    found = []
    for s in range(size):
        part = truth.part(np.array([s]))
        moles = Charge(feed[s : s + 1], CHARGE, "mass").moles(truth.molar_mass)
        total = float(moles.sum())
        policy = reflux[s] if sway_reflux == 0.0 else Stepped([reflux[s], reflux[s] * (1.0 + sway_reflux)], [0.4])
        whole = distil(
            part, moles, np.array([stages[s]]), policy, pressure[s : s + 1],
            distilled=0.9 * (1.0 - holdup[s]), column_holdup=holdup[s] * total, tolerance=3e-4,
        )  # fmt: skip
        over = float(whole.distilled_mass[0, -1])
        share = 0.4 / cuts + 0.6 * rng.dirichlet(np.full(cuts, 4.0))
        ends = 0.995 * over * np.cumsum(share)
        ends[:-1] += SWAY * CHARGE * rng.standard_normal(cuts - 1)
        made = whole.cut_at_mass(np.sort(ends)[None])
        run = _sheet(part, made.mass[0], made.w[0], made.head_start[0], made.head_end[0], pressure[s], quality, rng)
        if pots:
            run = replace(run, cuts=replace(run.cuts, pot_temperature=_pot_read(made.mass[0], made.pot_end[0], rng)))
        found.append(
            World(run, float(stages[s]), float(holdup[s]) if stages[s] > 1.0 else 0.0, float(reflux[s]), made.w[0])
        )
    return found


def _pot_read(mass: Array, pot: Array, rng: np.random.Generator) -> Array:
    """What the pot's thermometer showed: its error, superheat, and what does not boil, all as `tests.proof.more` has them."""
    left = CHARGE - np.cumsum(mass)
    solute = min(SOLUTE * (rng.random() ** -0.5 - 1.0), MOST_SOLUTE)
    raised = RISE * np.log1p(solute * left[-1] / left)
    shown = pot + raised + POT_BIAS * rng.standard_normal() + POT_REPEAT * rng.standard_normal(len(pot))
    return np.round(shown - 273.15, 1) + 273.15


def _sheet(
    truth: Truth, mass: Array, w: Array, start: Array, end: Array, pressure: float, quality: Quality,
    rng: np.random.Generator,
) -> Run:  # fmt: skip
    size = len(mass)
    warm, dense = rng.standard_normal(2)
    nothing = np.full(size, np.nan)

    def read(true: Array) -> Array:
        shown = true + quality.temperature_bias * warm + quality.temperature_repeat * rng.standard_normal(size)
        digit = quality.temperature_digit
        return 273.15 + digit * np.round((shown - 273.15) / digit)

    head_end = read(end)
    head_start = np.concatenate([read(start)[:1], head_end[:-1]])
    room = np.round(295.15 + 0.3 * rng.standard_normal(size), 1) + 0.05
    density = truth.density(w, room) + quality.density_bias * dense + quality.density_repeat * rng.standard_normal(size)
    weighed = np.round(mass * (1.0 - LOST), 4)
    residue = round((CHARGE - float(mass.sum())) * (1.0 - LOST), 4)
    station = 10.0 * round(0.1 * (pressure + quality.pressure * rng.standard_normal()))
    spread = float(np.hypot(quality.temperature_repeat, quality.temperature_digit / np.sqrt(12.0)))
    table = CutTable(
        tuple(f"C{k + 1}" for k in range(size)), ("",) * size, np.arange(2, size + 2), head_start,
        np.maximum(head_end, head_start), weighed, nothing, density, np.full(size, "density"),
        np.full((size, 2), np.nan), room, nothing, nothing, nothing, nothing, nothing, nothing,
    )  # fmt: skip
    place = Path("simulated") / "run.toml"
    return Run(
        place.parent, place, place, "simulated", None, truth.names,
        PressureEntry(station=Quantity(station, quality.pressure, "pressure", f"{station:g} Pa")), table,
        thermometer=ThermometerEntry(bias=quality.temperature_bias, repeat=spread),
        density=DensityEntry(bias=quality.density_bias, repeat=quality.density_repeat),
        charge=ChargeEntry(mass=Quantity(CHARGE, None, "mass", "1400 g")),
        residue=ChargeEntry(mass=Quantity(residue, None, "mass", f"{1000 * residue:.1f} g")),
        target=TargetEntry(truth.names[-1], 0.98), still=ColumnEntry(),
    )  # fmt: skip
