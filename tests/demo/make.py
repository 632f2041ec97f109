"""Invented runs from a simulated still whose truth is another thermodynamic model than the estimator's.

What is simulated: the distillation (theoretical stages, reflux, no hold-up), instruments with one error that repeats and
one that is fresh, losses by evaporation. What is written is rounded as a person writes it.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.still import Charge, distil
from tests.proof.truth import draw_truth

Array = NDArray[np.float64]
ICE = 273.15


@dataclass(frozen=True)
class Scenario:
    """One invented run: what was in the pot, how it was run, how far the instruments are off (SI, true errors)."""

    folder: str
    seed: int
    components: tuple[str, ...]
    feed: tuple[float, ...]
    charge: float
    stages: float
    reflux: float
    pressure: float
    ends: tuple[float, ...]  # kg distilled when each receiver is changed
    thermometer: float
    thermometer_repeat: float
    density: float
    density_repeat: float
    room: float
    lost: float  # part of each cut that evaporates before it is weighed
    notes: tuple[tuple[int, str], ...]
    sheet: str


BINARY = Scenario(
    "demo_binary",
    7,
    ("trichloroethylene", "tetrachloroethylene"),
    (0.46, 0.54),
    1.480,
    5.0,
    2.0,
    98_430.0,
    (0.180, 0.360, 0.510, 0.640, 0.790, 0.990, 1.220, 1.395),
    -0.45,
    0.12,
    0.3,
    0.4,
    21.5,
    0.004,
    ((0, "forerun; first drops cloudy"), (3, "receiver changed a little late"), (7, "stopped well before dryness")),
    """\
# INVENTED DATA: nobody distilled this. README.md beside this file says how it was made.

[run]
title = "Parts-washer recovery, charge 7 (invented)"
date = 2026-05-09
components = ["trichloroethylene", "tetrachloroethylene"]
cuts = "cuts.csv"

[charge]
mass = "1480 g"

[residue]
mass = "{residue:.0f} g"

[pressure]
station = "98.6 ± 0.4 kPa"      # read at the bench, not from the weather report

[thermometer]
bias = "0.8 degC"               # the same error in every reading, 95 % half-width
repeat = "0.3 degC"             # fresh in each reading, 95 % half-width

[density]
method = "pycnometer"
bias = "0.0008 g/mL"
repeat = "0.001 g/mL"

[target]
component = "tetrachloroethylene"
purity = "99 wt%"
confidence = 0.95

[[test]]
cut = "C8"
component = "trichloroethylene"
result = "negative"
detection_limit = "0.5 wt%"
""",
)

TERNARY = Scenario(
    "demo_ternary",
    23,
    ("chloroform", "1,2-dichloroethane", "tetrachloroethylene"),
    (0.30, 0.45, 0.25),
    1.250,
    6.0,
    3.0,
    96_910.0,
    (0.110, 0.230, 0.330, 0.420, 0.540, 0.690, 0.820, 0.900, 0.990, 1.120),
    0.25,
    0.10,
    -0.2,
    0.3,
    20.4,
    0.006,
    ((0, "forerun"), (7, "head climbs fast"), (9, "stopped: little left in the pot")),
    """\
# INVENTED DATA: nobody distilled this. README.md beside this file says how it was made.

[run]
title = "Laboratory rinse solvents, drum 3 (invented)"
date = 2026-06-18
components = ["chloroform", "1,2-dichloroethane", "tetrachloroethylene"]

[charge]
mass = "1250 g"
composition = {{ chloroform = "30 ± 6 wt%", "1,2-dichloroethane" = "46 ± 8 wt%" }}   # from the drum's log

[residue]
mass = "{residue:.0f} g"

[pressure]
sea_level = "1016 hPa"          # weather report
altitude = "395 m"

[thermometer]
bias = "0.6 degC"
repeat = "0.25 degC"

[density]
method = "pycnometer"
bias = "0.0006 g/mL"
repeat = "0.0008 g/mL"

[target]
component = "1,2-dichloroethane"
purity = "95 wt%"
confidence = 0.95
""",
)

SCENARIOS = (BINARY, TERNARY)


def files(scenario: Scenario) -> dict[str, str]:
    """Names and texts of the run's files: run.toml, cuts.csv and truth.csv."""
    rng = np.random.default_rng(scenario.seed)
    truth = draw_truth(scenario.components, 1, rng)
    moles = Charge(np.array([scenario.feed]), scenario.charge, "mass").moles(truth.molar_mass)
    whole = distil(
        truth,
        moles,
        np.array([scenario.stages]),
        np.array([scenario.reflux]),
        np.array([scenario.pressure]),
        distilled=np.array([0.97]),
    )
    cuts = whole.cut_at_mass(np.array([scenario.ends]))
    size = len(scenario.ends)

    def reading(true: Array, bias: float, repeat: float) -> Array:
        return true + bias + repeat * rng.standard_normal(size)

    start = reading(cuts.head_start[0], scenario.thermometer, scenario.thermometer_repeat) - ICE
    end = reading(cuts.head_end[0], scenario.thermometer, scenario.thermometer_repeat) - ICE
    start[1:] = end[:-1]  # the head temperature is read once at each change of receiver
    room = scenario.room + 0.1 * rng.integers(-1, 2, size)
    exact = truth.density(cuts.w, np.array([room + ICE]))[0]
    density = reading(exact, scenario.density, scenario.density_repeat) / 1000.0
    mass = cuts.mass[0] * (1.0 - scenario.lost) * 1000.0
    residue = (scenario.charge - scenario.ends[-1]) * 1000.0 * (1.0 - 2.0 * scenario.lost)
    sheet = scenario.sheet.format(residue=residue)
    table = ["cut,head_start,head_end,mass,density,density_temp,note"]
    notes = dict(scenario.notes)
    table += [
        f"C{k + 1},{start[k]:.1f},{max(end[k], start[k]):.1f},{mass[k]:.1f},{density[k]:.4f},{room[k]:.1f},"
        f"{notes.get(k, '')}"
        for k in range(size)
    ]
    return {"run.toml": sheet, "cuts.csv": "\n".join(table) + "\n", "truth.csv": _truth(scenario, cuts.w[0])}


def _truth(scenario: Scenario, w: Array) -> str:
    out = io.StringIO()
    out.write("# INVENTED DATA: the true mass fractions of the simulated cuts, to compare the answer with.\n")
    out.write(",".join(["cut", *(f'"{name}"' for name in scenario.components)]) + "\n")
    for k, row in enumerate(w):
        out.write(",".join([f"C{k + 1}", *(f"{value:.5f}" for value in row)]) + "\n")
    return out.getvalue()


def shown(values: Sequence[float]) -> str:
    """A list for the README of a run."""
    return ", ".join(f"{value:g}" for value in values)
