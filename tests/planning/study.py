"""How often the kept-mass intervals of plans hold: ``python -m tests.planning.study [PLANS] [TRUTHS]`` (minutes).

Every plan draws scenarios of its own seed, chooses the receiver changes on them and states an interval; truths drawn with
other seeds are distilled and cut at these changes. ``between`` is what the interval would hold were its ends read off
between the first and the last scenario (the k-th of S at (k - 1)/(S - 1)) instead of the k-th at k/(S + 1).
"""

from __future__ import annotations

import sys

import numpy as np

from fractionkit.planning.cutting.curve import collected
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.planning.setups import setups_of
from fractionkit.planning.trial import Wish, distilled, run_trials
from tests.planning.plans import NAMES, setup, sheet

THREE = ("chloroform", "trichloroethylene", "tetrachloroethylene")
PLANS = {
    "pair, light kept, still head": sheet(setup("1", 0), purity=0.6, share="50 ± 4 wt%"),
    "pair, light kept, column": sheet(setup("5 ± 1", 4, holdup="20 ± 8 mL"), purity=0.95, share="50 ± 4 wt%"),
    "pair, heavy kept, column": sheet(setup("5 ± 1", 4, holdup="20 ± 8 mL"), target=NAMES[1], purity=0.97),
    "three, middle kept": sheet(
        setup("12 ± 2", 8, holdup="15 ± 5 mL"), names=THREE, others=("40 ± 3 wt%",), share="30 ± 3 wt%",
        target=THREE[1], purity=0.93,
    ),
    "three, heavy kept": sheet(
        setup("6 ± 1", 3, holdup="10 ± 4 mL"), names=THREE, others=("30 ± 2 wt%",), share="30 ± 2 wt%",
        target=THREE[2], purity=0.97,
    ),
}  # fmt: skip


def kept(truth, wish, still, cuts):
    """Kilograms (S,) that the heart of a plan holds in truths, cut as the plan says."""
    curve = collected(truth_distilled(truth, wish, still), reading_error=truth.at_the_change)
    heart = cuts.receivers[cuts.heart]
    marks = np.clip([heart.start, heart.end], -1e6, 1e6)
    return np.diff(curve.masses(marks, cuts.by), axis=1)[:, 0]


_made = {}


def truth_distilled(truth, wish, still):
    """The distillation of the truths, made once a set-up."""
    if (key := (id(truth), wish)) not in _made:
        _made[key] = distilled(truth, [wish], still)[0]
    return _made[key]


def coverage(plan, plans, truths, count=100):
    """Parts of the truths within the stated and the other interval, and meeting the probability told, one row a plan."""
    one = setups_of(plan)[0]
    wish = Wish(one, one.reflux[0])
    truth = scenarios_of(plan, truths, seed=987)
    rows = []
    for seed in range(plans):
        trial = run_trials(scenarios_of(plan, count, seed=seed), [wish], plan.still)[0]
        if trial.kept is None:
            continue
        true = kept(truth, wish, plan.still, trial.cuts)
        ends = [(trial.kept.low, trial.kept.high), np.quantile(trial.cuts.kept, [0.025, 0.975])]
        # what is chosen by mass is kept to the milligram in every scenario
        rows.append([float(((true >= low - 1e-6) & (true <= high + 1e-6)).mean()) for low, high in ends])
    return np.array(rows).reshape(-1, 2)


def main(plans=20, truths=400):
    found = []
    for name, plan in PLANS.items():
        rows = coverage(plan, plans, truths)
        found.append(rows)
        told = 100 * rows.mean(axis=0), 100 * rows.std(axis=0) / max(len(rows), 1) ** 0.5
        sys.stdout.write(
            f"{name:30s} {len(rows):3d} plans: {told[0][0]:.1f} ± {told[1][0]:.1f} % (between: {told[0][1]:.1f} %)\n"
        )
    whole = 100 * np.concatenate(found).mean(axis=0)
    sys.stdout.write(f"{'all':30s} {whole[0]:.1f} % (between: {whole[1]:.1f} %)\n")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
