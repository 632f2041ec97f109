"""Combining materials into lots: against brute force over parts on a grid, closed forms, and what must always hold."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from fractionkit.lots import Material, Wanted, choose, combine, frontier, takes
from tests.lots.worlds import PAIR, grid_best, materials

TARGET = PAIR[0]
PARTS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
# The cone stands for the chance of a lot that is not quite normal; on the draws themselves another plan may be a little
# heavier. In 120 such cases the grid never found more.
SLACK = 0.01


def exactly(name, w, mass, origin="x"):
    """A material known without doubt."""
    return Material(name, PAIR, mass, 0.0, np.tile([w, 1.0 - w], (50, 1)), origin)


def sound(made):
    """What holds of every answer."""
    assert made.parts.min() >= 0.0
    assert (made.parts.sum(axis=0) <= 1.0 + 1e-9).all()
    mass = np.array([m.mass for m in made.materials])
    assert made.mass.sum() + made.left.sum() == pytest.approx(mass.sum())
    for lot, want in enumerate(made.wanted):
        if made.mass[lot] > 0.0:
            assay = made.lot_draws(lot)[:, made.components.index(want.component)]
            assert (assay >= want.purity - 1e-13).mean() >= want.confidence  # all draws
    return made


def worth(made):
    return float(made.worth @ made.mass)


@settings(max_examples=8, deadline=None)
@example(3678, 4, 0.99, 0.9)  # on the draws a blend holds for which the normal distribution leaves no room
@given(st.integers(0, 10_000), st.integers(2, 5), st.sampled_from([0.95, 0.97, 0.99]), st.sampled_from([0.9, 0.95]))
def test_parts_of_cuts_reach_what_brute_force_finds(seed, count, purity, confidence):
    want = Wanted(TARGET, purity, confidence)
    made = sound(combine(materials(seed, count, origins=2), (want,)))
    assert worth(made) >= (1.0 - SLACK) * grid_best(made, PARTS)
    poured = sound(combine(made.materials, (replace(want, least=0.4),)))
    assert ((poured.parts == 0.0) | (poured.parts >= 0.4 - 1e-9)).all()
    assert worth(poured) >= (1.0 - SLACK) * grid_best(poured, (0.0, 0.4, 0.6, 0.8, 1.0))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 8), st.sampled_from([0.95, 0.97, 0.99]))
def test_whole_cuts_are_exact(seed, count, purity):
    want = Wanted(TARGET, purity, whole=True)
    made = sound(combine(materials(seed, count), (want,)))
    assert worth(made) == pytest.approx(grid_best(made, (0.0, 1.0)))
    kept = choose(np.array([m.mass for m in made.materials]), made.draws[..., 0], purity, 0.95)
    assert made.mass[0] == pytest.approx(sum(m.mass for m, k in zip(made.materials, kept, strict=True) if k))


@pytest.mark.parametrize("whole", [True, False])
@pytest.mark.parametrize("prices", [(None, None), (3.0, 2.0), (9.0, 2.0)])
def test_two_lots_reach_what_brute_force_finds(whole, prices):
    levels = (0.0, 1.0) if whole else (0.0, 0.5, 1.0)
    for seed in range(3):
        wanted = (
            Wanted(TARGET, 0.99, price=prices[0], whole=whole),
            Wanted(TARGET, 0.96, 0.9, price=prices[1], whole=whole),
        )
        made = sound(combine(materials(seed, 5, draws=300, origins=2), wanted, disposal=0.5))
        best = grid_best(made, levels)
        assert worth(made) >= best * (1.0 - (1e-12 if whole else SLACK))
        assert not whole or worth(made) == pytest.approx(best)


def test_whole_cuts_beyond_what_can_be_tried_one_by_one():
    """Fifteen cuts of two runs for two lots go through the program; brute force over one lot's 32,768 plans beside it."""
    made = sound(combine(materials(4, 15, draws=200, origins=2), (Wanted(TARGET, 0.985, whole=True),)))
    assert worth(made) >= 0.99 * grid_best(made, (0.0, 1.0))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_another_material_never_loses_mass(seed, whole):
    all_of_them = materials(seed, 6)
    want = Wanted(TARGET, 0.97, whole=whole)
    few, more = (combine(part, (want,)) for part in (all_of_them[:5], all_of_them))
    assert more.mass[0] >= few.mass[0] * (1.0 - (1e-12 if whole else SLACK))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_higher_purity_never_keeps_more(seed, whole):
    kept = [combine(materials(seed, 6), (Wanted(TARGET, p, whole=whole),)).mass[0] for p in (0.95, 0.97, 0.98, 0.99)]
    slack = 1e-12 if whole else SLACK
    assert all(more >= less * (1.0 - slack) for more, less in pairwise(kept))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.permutations(range(6)))
def test_the_order_of_the_sheet_does_not_matter(seed, order):
    made = materials(seed, 6)
    first = combine(made, (Wanted(TARGET, 0.98),))
    second = combine(tuple(made[k] for k in order), (Wanted(TARGET, 0.98),), draws=first.draws[:, list(order)])
    assert second.mass[0] == pytest.approx(first.mass[0], rel=SLACK)


def test_known_compositions_by_the_rule_of_mixtures():
    """1 kg of 100 wt% bears x kg of 98 wt% at 99 wt%: 1·0.01 = x·0.01, so x = 1; 2 kg in all."""
    made = sound(combine((exactly("A", 1.0, 1.0), exactly("B", 0.98, 3.0)), (Wanted(TARGET, 0.99),)))
    assert made.mass[0] == pytest.approx(2.0, rel=1e-6)
    assert made.parts[0] == pytest.approx([1.0, 1.0 / 3.0], rel=1e-6)
    assert made.left == pytest.approx([0.0, 2.0], abs=1e-6)


def test_one_bias_shared_by_both_cuts_by_the_normal_distribution():
    """w + bias, bias normal of 0.1 wt%: at 95 % the mean must be 1.645 · 0.1 wt% above 99 wt%, however it is mixed."""
    z = norm.ppf((np.arange(4000) + 0.5) / 4000)
    pair = [
        Material(name, PAIR, mass, 0.0, np.stack([w + 0.001 * z, 1 - w - 0.001 * z], axis=1), "run")
        for name, w, mass in (("A", 0.995, 1.0), ("B", 0.985, 2.0))
    ]
    made = combine(tuple(pair), (Wanted(TARGET, 0.99),))
    need = norm.ppf(0.95) * 0.001  # (0.005 - 0.005 x)/(1 + x) = need
    x = (0.005 - need) / (0.005 + need)
    assert made.mass[0] == pytest.approx(1.0 + x, rel=2e-3)
    apart = combine((pair[0], replace(pair[1], origin="another run")), (Wanted(TARGET, 0.99),))
    assert apart.mass[0] > made.mass[0] * 1.03  # errors that are not shared average out


def test_simple_and_rounded_rules_look_at_the_best_estimate():
    """Mean at least 99 wt%; rounded to whole per cent (ASTM E29, rounding method) 98.5 does: 1·0.015 = x·0.005."""
    pair = (exactly("A", 1.0, 1.0), exactly("B", 0.98, 9.0))
    assert combine(pair, (Wanted(TARGET, 0.99, rule="simple"),)).mass[0] == pytest.approx(2.0, rel=1e-6)
    rounded = combine(pair, (Wanted(TARGET, 0.99, rule="rounded"),))
    assert rounded.mass[0] == pytest.approx(4.0, rel=1e-6)
    assert rounded.chance[0] == 0.0  # known to hold 98.5 wt%: the probability told is that of 99 wt%, whatever the rule


def test_prices_send_the_pure_cut_where_it_is_worth_more():
    """1 kg of 100, 2 kg of 90 wt%. At 95 wt% 1 kg bears 1 kg; at 99 wt% it bears 1/9 kg, and 90 wt% alone sells nowhere."""
    pair = (exactly("A", 1.0, 1.0), exactly("B", 0.9, 2.0))
    for price, expected in (
        (1.0, (0.0, 2.0)),
        (1.7, (0.0, 2.0)),
        (1.9, (10 / 9, 0.0)),
    ):  # 2 kg · 1 against 10/9 kg · price
        made = sound(combine(pair, (Wanted(TARGET, 0.99, price=price), Wanted(TARGET, 0.95, price=1.0))))
        assert made.mass == pytest.approx(expected, abs=1e-5)


def test_of_plans_that_keep_as_much_the_first_lot_gets_more():
    """1 kg of 100, 2 kg of 95 wt%: all 3 kg are kept in any case; 99 wt% can have 1 + 0.25 kg of them."""
    pair = (exactly("A", 1.0, 1.0), exactly("B", 0.95, 2.0))
    strict, loose = Wanted(TARGET, 0.99), Wanted(TARGET, 0.95)
    assert combine(pair, (strict, loose)).mass == pytest.approx([1.25, 1.75], abs=1e-5)
    assert combine(pair, (loose, strict)).mass == pytest.approx([3.0, 0.0], abs=1e-5)


def test_no_more_than_asked_for():
    made = sound(combine((exactly("A", 1.0, 1.0), exactly("B", 0.98, 3.0)), (Wanted(TARGET, 0.99, most=0.7),)))
    assert made.mass[0] == pytest.approx(0.7, rel=1e-6)


def test_nothing_to_keep_and_nothing_to_combine():
    assert combine((exactly("B", 0.98, 3.0),), (Wanted(TARGET, 0.99),)).mass[0] == 0.0
    assert combine((), (Wanted(TARGET, 0.99),)).mass[0] == 0.0
    unknown = exactly("B", 1.0, np.nan)
    assert combine((unknown, exactly("A", 1.0, 1.0)), (Wanted(TARGET, 0.99),)).mass[0] == pytest.approx(1.0)


def test_another_component_counts_as_impurity():
    other = Material("T", ("tetrachloroethylene",), 1.0, 0.0, np.ones((50, 1)), "shelf")
    made = combine((exactly("A", 1.0, 1.0), other), (Wanted(TARGET, 0.8),))
    assert made.components == (*PAIR, "tetrachloroethylene")
    assert made.parts[0] == pytest.approx([1.0, 0.25], rel=1e-6)  # 1/1.25 = 0.8


def test_frontier_of_known_compositions():
    """1 kg of 100 and 1 kg of 90 wt%: at assay a the lot is 1 + (1 - a)/(a - 0.9) kg."""
    assay, mass = frontier((exactly("A", 1.0, 1.0), exactly("B", 0.9, 1.0)), Wanted(TARGET, 0.99))
    assert assay[0] == pytest.approx(0.95)
    assert mass == pytest.approx(1.0 + (1.0 - assay) / (assay - 0.9), rel=1e-4)
    assert (np.diff(assay) > 0.0).all()
    assert (np.diff(mass) < 0.0).all()


def test_frontier_never_promises_what_the_draws_do_not_hold():
    made = materials(7, 7, draws=2000, origins=2)
    want = Wanted(TARGET, 0.98)
    assay, mass = frontier(made, want, points=10)
    for a, m in zip(assay, mass, strict=True):
        assert combine(made, (replace(want, purity=float(a)),)).mass[0] >= m * (1.0 - SLACK)


def test_what_it_would_take_by_the_rule_of_mixtures():
    """2 kg of 98 wt% need 2 kg of 100 wt% at 99 wt%; 1 kg is there, in the lot with 1 kg of the other: 1 kg more."""
    made = combine((exactly("A", 1.0, 1.0), exactly("B", 0.98, 2.0)), (Wanted(TARGET, 0.99),))
    found = takes(made, 1)
    assert found.left == pytest.approx(1.0, rel=1e-6)
    assert found.donor == 0
    assert found.more == pytest.approx(1.0, rel=1e-5)
    assert found.assay_needed == pytest.approx(0.99)
    assert found.half_width_needed is None  # it holds 98 wt%, however well that is known


def test_the_uncertainty_at_which_a_cut_would_do_as_it_is():
    """99.2 wt% ± 1.96 · 0.2: at 95 % 99 wt% needs a standard uncertainty of 0.2/1.645 wt%."""
    z = norm.ppf((np.arange(4000) + 0.5) / 4000)
    cut = Material("C", PAIR, 1.0, 0.0, np.stack([0.992 + 0.002 * z, 0.008 - 0.002 * z], axis=1), "run")
    made = combine((cut,), (Wanted(TARGET, 0.99),))
    found = takes(made, 0)
    assert made.mass[0] == 0.0
    assert found.half_width_needed == pytest.approx(1.96 * 0.002 / norm.ppf(0.95), rel=5e-3)
    assert found.assay_needed == pytest.approx(0.99 + norm.ppf(0.95) * 0.002, rel=1e-5)
    assert found.donor is None
