"""Where to cut: against trying every pair and every division, and what must hold whatever the still."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.mixture import Mixture
from fractionkit.planning.cutting import best as cutting
from fractionkit.planning.cutting.best import best_cuts, changes, frontier
from fractionkit.planning.cutting.curve import collected
from fractionkit.planning.cutting.heart import best_heart
from fractionkit.planning.cutting.receivers import divide_around, divisions, mixing, piece_costs
from fractionkit.still import Charge, ConstantVolatility, distil

ATM = 101325.0
MASS = np.array([0.1194, 0.1314, 0.1658])


def test_public_names():
    assert cutting.__all__ == ["CutPlan", "Frontier", "Receiver", "ResidueOption", "best_cuts", "frontier"]


def scenarios(count=20, seed=3, stages=8, reflux=8.0):
    rng = np.random.default_rng(seed)
    alpha = np.array([4.0, 2.0, 1.0]) * np.exp(0.04 * rng.standard_normal((count, 3)))
    feed = rng.dirichlet(400.0 * np.array([0.3, 0.3, 0.4]), count)
    mixture = ConstantVolatility(alpha, molar_mass=MASS)
    return distil(mixture, Charge(feed, 1.2, "mass"), stages, reflux, np.full(count, ATM))


RUN = scenarios()


# -- against trying everything -----------------------------------------------------------------------


@pytest.mark.parametrize("component, purity", [(0, 0.75), (1, 0.6), (2, 0.9), (1, 0.45)])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 1.0])
def test_heart_by_mass_against_every_pair_of_a_grid(component, purity, confidence):
    grid = np.linspace(0.0, RUN.distilled_mass[:, -1].max(), 101)
    over = np.concatenate([np.zeros((20, 1, 3)), RUN.cut_at_mass(grid[1:]).amounts.cumsum(axis=1) * MASS], axis=1)
    best = 0.0
    for i, j in combinations(range(101), 2):
        made = over[:, j] - over[:, i]
        mass = made.sum(axis=-1)
        good = (made[:, component] >= purity * mass) & (mass > 1e-9)
        if good.mean() >= confidence - 1e-12:
            best = max(best, mass.mean())
    plan = best_cuts(RUN, component, purity, confidence)
    cell = grid[1]
    assert best > 0.0
    assert best - 1e-6 <= plan.kept.mean() <= best + 2.5 * cell
    assert plan.probability >= confidence - 1e-12


def test_heart_by_head_against_every_pair_of_a_grid():
    heads = np.linspace(RUN.head_temperature.min(), RUN.head_temperature.max(), 90)
    over = RUN.cut_at_head(heads).amounts.cumsum(axis=1) * MASS
    best = 0.0
    for i, j in combinations(range(91), 2):
        made = over[:, j] - over[:, i]
        mass = made.sum(axis=-1)
        good = (made[:, 1] >= 0.6 * mass) & (mass > 1e-9)
        if good.mean() >= 0.9 - 1e-12:
            best = max(best, mass.mean())
    plan = best_cuts(RUN, 1, 0.6, 0.9, by="head")
    assert best > 0.1
    assert plan.kept.mean() >= best - 1e-4
    assert plan.probability >= 0.9 - 1e-12
    # the marks are what the operator reads: cutting there gives the receivers that the plan promises
    cuts = RUN.cut_at_head(plan.ends[:-1])
    np.testing.assert_allclose(cuts.mass[:, plan.heart], plan.kept, rtol=0, atol=2e-4)


def test_the_better_of_both_ways():
    curve = collected(RUN)
    either = best_heart(curve, 1, 0.6, 0.9)
    plans = [best_cuts(RUN, 1, 0.6, 0.9, by=by) for by in ("mass", "head")]
    better = max(plans, key=lambda plan: plan.kept.mean())
    assert either.by == better.by
    assert either.kept == pytest.approx(better.kept.mean(), abs=1e-6)
    np.testing.assert_allclose(np.diff(either.masses)[:, 0], better.kept, rtol=0, atol=1e-9)
    assert best_heart(curve, 1, 0.999, 0.9) is None


def test_a_thermometer_that_reads_high_moves_the_marks_by_as_much():
    true, high = (best_cuts(RUN, 1, 0.6, 0.9, by="head", reading_error=error) for error in (0.0, 1.5))
    np.testing.assert_allclose(high.ends[:-1], true.ends[:-1] + 1.5, rtol=0, atol=1e-3)
    np.testing.assert_allclose(high.kept, true.kept, rtol=0, atol=1e-4)


def test_every_scenario_for_itself_is_at_least_the_guarded_cut_where_that_meets_the_purity():
    plan = best_cuts(RUN, 1, 0.6, 0.9)
    met = plan.assay >= 0.6
    assert np.all(plan.possible[met] >= plan.kept[met] - 1e-5)
    alone = [float(best_cuts(_one(k), 1, 0.6, 1.0).kept[0]) for k in (0, 7)]
    np.testing.assert_allclose(plan.possible[[0, 7]], alone, rtol=0, atol=1e-5)


def _one(k):
    from dataclasses import fields, replace

    return replace(RUN, **{f.name: getattr(RUN, f.name)[k] for f in fields(RUN) if f.name != "molar_mass"})


@pytest.mark.parametrize("receivers", [1, 2, 3, 4, 5])
def test_division_against_every_division(receivers):
    over = np.cumsum(np.random.default_rng(receivers).dirichlet([0.6, 0.6, 0.6], 9), axis=0)
    over = np.concatenate([np.zeros((1, 3)), over])
    best = min(
        sum(mixing(over[j] - over[i]) for i, j in zip((0, *inner), (*inner, 9), strict=True))
        for inner in combinations(range(1, 9), receivers - 1)
    )
    totals, ends = divisions(piece_costs(over), receivers)
    assert totals[-1] == pytest.approx(best, rel=1e-12)
    assert sum(mixing(over[j] - over[i]) for i, j in zip([0, *ends[-1][:-1]], ends[-1], strict=True)) == pytest.approx(
        best, rel=1e-12
    )


@pytest.mark.parametrize("receivers", [3, 4, 6])
def test_division_around_a_heart_against_every_division(receivers):
    over = np.concatenate([np.zeros((1, 3)), np.cumsum(np.random.default_rng(1).dirichlet([0.5] * 3, 11), axis=0)])
    inner = [k for k in range(1, 11) if k not in (4, 7)]

    def cost(ends):
        return sum(mixing(over[j] - over[i]) for i, j in zip([0, *ends[:-1]], ends, strict=True))

    options = [sorted([*some, 4, 7, 11]) for some in combinations(inner, receivers - 3) if not {5, 6} & set(some)]
    found = divide_around(over, (4, 7), receivers)
    assert len(found) == receivers
    assert cost(found) == pytest.approx(min(cost(ends) for ends in options), rel=1e-12)


def test_ends_between_the_marks_mix_less_than_any_division_at_marks():
    curve = collected(RUN)
    ends, heart = changes(curve, MASS, None, 4, "mass")
    assert heart is None

    def lost(places):
        over = curve.at_mass(np.concatenate([[0.0], places])).mean(axis=0) / MASS
        return float(mixing(np.maximum(np.diff(over, axis=0), 0.0)).sum())

    grid = np.linspace(0.0, float(curve.end.max()), 31)
    best = min(lost(np.array([*inner, grid[-1]])) for inner in combinations(grid[1:-1], 3))
    assert lost(ends) <= best + 1e-9
    assert lost(ends) >= best - 0.02 * best
    # stationary: no end moved by a little mixes less
    for k in range(3):
        for step in (-1e-3, 1e-3):
            assert lost(ends + step * (np.arange(4) == k)) >= lost(ends) - 1e-6


# -- what must hold ----------------------------------------------------------------------------------


@st.composite
def tasks(draw):
    alpha = draw(st.lists(st.floats(1.0, 6.0), min_size=2, max_size=3))
    parts = draw(st.lists(st.floats(0.1, 1.0), min_size=len(alpha), max_size=len(alpha)))
    still = draw(st.sampled_from([(1, 0.0, 0.0), (3, 2.0, 0.0), (6, 8.0, 0.03)]))
    return alpha, parts, still, draw(st.integers(0, len(alpha) - 1)), draw(st.floats(0.05, 0.98))


@settings(max_examples=8, deadline=None)
@given(tasks(), st.sampled_from(["mass", "head"]))
def test_invariants(task, by):
    alpha, parts, (stages, reflux, held), component, purity = task
    result = distil(ConstantVolatility(alpha), parts, stages, reflux, ATM, column_holdup=held * sum(parts))
    total = float((result.charge * result.molar_mass).sum())
    plans = [best_cuts(result, component, purity, receivers=count, by=by) for count in (1, 2, 3, 5, 8)]
    kept = [float(plan.kept[0]) for plan in plans]
    assert np.all(np.diff(kept[:3]) >= -1e-5 * total)  # one for the forerun, then one for the tails
    np.testing.assert_allclose(kept[2:], kept[2], rtol=0, atol=1e-12)
    lost = [
        sum(float(mixing(r.mass[0] * r.w[0] / result.molar_mass)) for r in plan.receivers if r.mass[0] > 0.0)
        for plan in plans[2:]
    ]
    assert np.all(np.diff(lost) <= 1e-5 * total)
    for plan in plans:
        collected_mass = sum(float(r.mass[0]) for r in plan.receivers)
        assert collected_mass + plan.rest[0] == pytest.approx(total, abs=1e-9 * total)
        assert all(r.mass[0] >= 0.0 for r in plan.receivers)
        assert plan.possible[0] >= plan.kept[0] - 1e-5 * total
        if plan.heart is not None:
            assert plan.assay[0] >= purity
            assert 0.0 <= plan.recovery[0] <= 1.0 + 1e-12
    purer = best_cuts(result, component, min(purity + 0.01, 0.999), receivers=3, by=by)
    assert purer.kept[0] <= kept[2] + 1e-5 * total


def test_trade_off_falls_and_agrees_with_single_plans():
    curve = frontier(RUN, 1, 0.9, receivers=3)
    for line in (curve.guarded, curve.low, curve.median, curve.high):
        assert np.all(np.diff(line) <= 1e-12)
    assert np.all((curve.low <= curve.median) & (curve.median <= curve.high))
    some = frontier(RUN, 1, 0.9, purities=[0.5, 0.7])
    for level, mass in zip((0.5, 0.7), some.guarded, strict=True):
        plan = best_cuts(RUN, 1, level, 0.9)
        # the curve is linear between marks, a plan is refined
        assert mass == pytest.approx(plan.kept.mean(), abs=2e-3)
    assert curve.total == pytest.approx((RUN.charge[:, 1] * MASS[1]).mean())


def test_amounts_between_points_are_those_of_the_still():
    curve = collected(RUN)
    marks = np.linspace(0.0, 1.0, 31)[1:]
    expected = RUN.cut_at_mass(marks).amounts.cumsum(axis=1) * MASS
    np.testing.assert_allclose(curve.at_mass(marks), expected, rtol=0, atol=2e-5)


def test_distilling_may_stop_early():
    plan = best_cuts(RUN, 1, 0.6, 0.9, receivers=5, stop=0.8)
    assert plan.ends[-1] == pytest.approx(0.8)
    assert sum(r.mass for r in plan.receivers)[0] == pytest.approx(0.8, abs=1e-9)
    two = best_cuts(RUN, 1, 0.6, 0.9, receivers=2)
    assert two.stops
    assert "stop distilling with the heart" in " ".join(two.text)


# -- words and refusals ------------------------------------------------------------------------------


def test_words_of_real_solvents():
    mixture = Mixture(["chloroform", "tetrachloroethylene"])
    result = distil(mixture, Charge([0.4, 0.6], 1.0, "mass"), 5, 4.0, 98600.0)
    plan = best_cuts(result, 0, 0.99, names=mixture.names)
    assert plan.receivers[0].decision == "keep"
    assert plan.text[0].startswith("Keep R1: ")
    assert "99.00 wt% chloroform" in plan.text[0]
    assert "°C" in plan.text[1]
    heavy = best_cuts(result, 1, 0.99, names=mixture.names, by="head")
    assert "the head first reads" in heavy.text[1]
    assert "stays in the pot can be the product too" in heavy.text[-1]
    never = best_cuts(distil(mixture, Charge([0.4, 0.6], 1.0, "mass"), 1, 0.0, 98600.0), 0, 0.99, names=mixture.names)
    assert never.heart is None
    assert never.kept[0] == 0.0
    # the first drop of simple distillation is the vapour over the charge
    vapour = mixture.bubble_point(mixture.mole_fractions([0.4, 0.6]), 98600.0)[1]
    assert never.reach == pytest.approx(mixture.mass_fractions(vapour)[0], abs=2e-3)
    assert "No cut of the distillate holds 99 wt% chloroform" in never.text[0]


@pytest.mark.parametrize(
    "change, message",
    [
        ({"receivers": 0}, "1 to 40 receivers"),
        ({"receivers": -2}, "1 to 40 receivers"),
        ({"purity": 1.0}, "above 0 and below 1"),
        ({"purity": 99.0}, "above 0 and below 1"),
        ({"purity": float("nan")}, "above 0 and below 1"),
        ({"confidence": 0.0}, "a probability"),
        ({"component": 3}, "a component, 0 to 2"),
        ({"component": -1}, "a component, 0 to 2"),
        ({"by": "clock"}, '"mass" or "head"'),
        ({"names": ["a", "b"]}, "one a component"),
        ({"stop": 5.0}, "at most the"),
        ({"stop": 0.0}, "above 0"),
        ({"reading_error": [0.1, 0.2]}, "one for each of 20"),
    ],
)
def test_bad_input(change, message):
    with pytest.raises(InputError, match=message):
        best_cuts(RUN, **({"component": 1, "purity": 0.6} | change))


def test_all_faults_at_once_and_a_target_that_is_not_there():
    with pytest.raises(InputError) as caught:
        best_cuts(RUN, 7, 1.5, 2.0)
    assert len(caught.value.faults) == 3
    without = distil(ConstantVolatility([3.0, 2.0, 1.0]), [0.5, 0.0, 0.5], 3, 2.0, ATM)
    with pytest.raises(InputError, match="a charge that holds tin"):
        best_cuts(without, 1, 0.5, names=["a", "tin", "c"])


@pytest.mark.parametrize("purities", [[0.5, 0.4], [-0.1, 0.5], [0.5, 1.5], []])
def test_bad_levels(purities):
    with pytest.raises(InputError, match="purities"):
        frontier(RUN, 1, purities=purities)
