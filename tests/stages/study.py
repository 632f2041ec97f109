"""``python -m tests.stages.study``: how often intervals of stages, hold-up and tied cuts hold the truth."""

from __future__ import annotations

import argparse
import os
import time

import numpy as np

PAIR = ("trichloroethylene", "tetrachloroethylene")
OTHER = ("chloroform", "carbon tetrachloride")
TERNARY = ("chloroform", "1,2-dichloroethane", "tetrachloroethylene")
STAGES = (1.0, 2.5, 5.0, 9.0)
HOLDUPS = (0.0, 0.05)


def main() -> None:
    """Print one line a run and a summary."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2, help="runs for each number of stages and hold-up")
    parser.add_argument("--names", default=";".join(PAIR))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reflux", choices=["known", "unknown"], default="known")
    parser.add_argument("--quality", choices=["good", "plain"], default="plain")
    parser.add_argument("--control", action="store_true")
    parser.add_argument("--sway", type=float, default=0.0)
    parser.add_argument("--pots", action="store_true", help="the pot is read at the end of every cut")
    parser.add_argument("--tie", action="store_true", help="tie the cuts as well")
    parser.add_argument("--any-number", action="store_true", help="tie three and more components too")
    parser.add_argument("--only-tie", action="store_true", help="tie the cuts without fitting the stages")
    options = parser.parse_args()
    from tests.stages.coverage import score, summary
    from tests.stages.worlds import GOOD, PLAIN, worlds

    if options.any_number:
        from fractionkit.stages import tie as room

        room.MOST_COMPONENTS = 5
    grid = [(n, h) for n in STAGES for h in HOLDUPS for _ in range(options.runs)]
    made = worlds(
        options.names.split(";"), [n for n, _ in grid], [h for _, h in grid], options.seed,
        quality=GOOD if options.quality == "good" else PLAIN, control=options.control, sway_reflux=options.sway,
        pots=options.pots,
    )  # fmt: skip
    scores = []
    for world in made:
        begun = time.perf_counter()
        found = score(world, reflux_known=options.reflux == "known", tied=options.tie or options.only_tie,
                      fitted=not options.only_tie)  # fmt: skip
        scores.append(found)
        what = f"N {world.stages:g} H {world.holdup:g} R {world.reflux:.2f}"
        print(f"{what}: {found.line()}  [{time.perf_counter() - begun:.1f} s]", flush=True)
    print(summary(scores))


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    np.set_printoptions(precision=4, suppress=True)
    main()
