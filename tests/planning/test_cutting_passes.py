"""Simple distillation repeated, against Rayleigh's closed form applied twice and thrice."""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from fractionkit.errors import InputError
from fractionkit.planning.campaign.passes import cut, repeat
from fractionkit.planning.cutting.best import best_cuts
from fractionkit.planning.cutting.curve import collected
from fractionkit.still import ConstantVolatility, distil

ATM = 101325.0
ALPHA = np.array([5.0, 1.0])


def step(charge, aims, confidence):
    rows = charge.reshape(-1, 2)
    made = distil(ConstantVolatility(ALPHA), rows, 1, 0.0, ATM, tolerance=1e-7, distilled=0.95)
    kept, meets = cut(collected(made), charge, 0, aims, confidence)
    return kept, meets, np.ones(charge.shape[:2]), made.distilled_mass[:, -1].reshape(charge.shape[:2])


def light_cut(n, purity):
    """Amounts over when their mean is ``purity``: n_i (1 - s**alpha_i), Rayleigh."""

    def over(s):
        return n * (1.0 - s**ALPHA)

    def surplus(s):
        made = over(s)
        return made[0] - purity * made.sum()

    first = ALPHA[0] * n[0] / (ALPHA * n).sum()
    if first <= purity:
        return None
    return over(brentq(surplus, 1e-9, 1.0 - 1e-9, xtol=1e-14)) if surplus(1e-9) < 0.0 else n.copy()


def test_one_pass_is_the_plan_of_one_distillation():
    charge = np.array([[0.5, 0.5]])
    made = repeat(charge, step, 1, 0, 0.75, 0.95)
    expected = light_cut(charge[0], 0.75).sum()
    assert made.kept[0] == pytest.approx(expected, abs=1e-5)
    assert made.aims == (0.75,)
    assert made.heat[0] == pytest.approx(0.95, rel=1e-3)


def test_two_passes_keep_what_the_best_first_cut_allows():
    """0.92 from 0.5: one pass cannot (0.833 is the first drop); two can, and the first cut's purity is a choice."""
    charge = np.array([[0.5, 0.5]])
    assert not np.any(repeat(charge, step, 1, 0, 0.92, 0.95).kept)

    def kept(aim):
        first = light_cut(charge[0], aim)
        second = None if first is None else light_cut(first, 0.92)
        return 0.0 if second is None else second.sum()

    best = minimize_scalar(lambda aim: -kept(aim), bounds=(0.6, 0.83), method="bounded")
    made = repeat(charge, step, 2, 0, 0.92, 0.95)
    assert 0.95 * -best.fun <= made.kept[0] <= -best.fun + 1e-5
    assert made.kept[0] == pytest.approx(kept(made.aims[0]), abs=1e-5)
    assert made.assay[0] == pytest.approx(0.92, abs=1e-6)
    assert made.time[0] == 2.0


def test_more_passes_reach_what_fewer_cannot_and_a_column_keeps_more():
    charge = np.array([[0.5, 0.5]])
    kept = [float(repeat(charge, step, k, 0, 0.97, 0.95).kept[0]) for k in (1, 2, 3)]
    assert kept[0] == 0.0
    assert kept[2] > kept[1] >= 0.0
    column = best_cuts(distil(ConstantVolatility(ALPHA), charge, 4, 6.0, [ATM]), 0, 0.97)
    assert column.kept[0] > kept[2]


def test_refusals():
    charge = np.array([[0.5, 0.5]])
    for passes in (0, 7, True):
        with pytest.raises(InputError, match="1 to 6 passes"):
            repeat(charge, step, passes, 0, 0.92, 0.95)
