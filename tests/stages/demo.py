"""``python -m tests.stages.demo`` writes data/demo_column: an invented test run to learn a column's stages from."""

from __future__ import annotations

from pathlib import Path

from fractionkit.sheets import Run
from tests.stages.worlds import GOOD, World, worlds

FOLDER = Path(__file__).parents[2] / "data" / "demo_column"
NAMES = ("trichloroethylene", "tetrachloroethylene")
STAGES, HOLDUP, SEED = 6.0, 0.02, 3


def world() -> World:
    """The run as it truly went."""
    return worlds(NAMES, [STAGES], [HOLDUP], SEED, quality=GOOD, cuts=9)[0]


def files() -> dict[str, str]:
    """Names and texts of the files."""
    made = world()
    return {"run.toml": _sheet(made), "cuts.csv": _cuts(made.run), "README.md": _readme(made)}


def _sheet(made: World) -> str:
    run = made.run
    assert run.residue is not None
    assert run.residue.mass is not None
    assert run.pressure.station is not None
    return f"""# INVENTED DATA: nobody distilled this. README.md beside this file says how it was made.

[run]
title = "Test run of the packed column (invented)"
date = 2026-07-21
components = ["trichloroethylene", "tetrachloroethylene"]

[charge]
mass = "1400 g"

[residue]
mass = "{1000 * run.residue.mass.value:.1f} g"

[still]
reflux = "{made.reflux:.1f} ± {0.1 * made.reflux:.1f}"         # drops counted; stages are what is sought

[pressure]
station = "{run.pressure.station.value / 1000:.2f} ± 0.10 kPa"

[thermometer]
bias = "0.2 degC"
repeat = "0.12 degC"

[density]
method = "meter"
bias = "0.0004 g/mL"
repeat = "0.0004 g/mL"
"""


def _cuts(run: Run) -> str:
    lines = ["cut,head_start,head_end,mass,density,density_temp"]
    cuts = run.cuts
    lines += [
        f"{name},{cuts.head_start[k] - 273.15:.1f},{cuts.head_end[k] - 273.15:.1f},{1000 * cuts.mass[k]:.1f},"
        f"{cuts.density[k] / 1000:.4f},{cuts.density_temperature[k] - 273.15:.2f}"
        for k, name in enumerate(cuts.names)
    ]
    return "\n".join(lines) + "\n"


def _readme(made: World) -> str:
    return f"""# Test run of a column (INVENTED DATA)

Nobody distilled this. The run exists to show how a column's theoretical stages are found:

    fractionkit stages data/demo_column

The story: before the column is used, 1400 g of a mixture of known solvents go through it at a steady reflux, nine cuts are
weighed and their densities measured.

How it was made (`python -m tests.stages.demo`): a still of {made.stages:g} theoretical stages, the pot counting as one, with
{100 * made.holdup:g} mol% of the charge held on the column, reflux ratio {made.reflux:.2f}; another model of the liquid and other
constants than the estimator's (tests/proof/truth.py); receivers changed a little early or late, 0.4 % lost as vapour, and
instruments with an error that repeats and one that is fresh in each reading.
"""


def main() -> None:
    """Write the files."""
    FOLDER.mkdir(exist_ok=True)
    for name, text in files().items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
