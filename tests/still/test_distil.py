"""Invariants of the batch distillation, its scenarios, its receivers and what it refuses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fractionkit.still
from fractionkit.errors import InputError
from fractionkit.mixture import Mixture
from fractionkit.still import Charge, ConstantVolatility, Steered, Stepped, TabulatedVolatility, distil

ATM = 101325.0
TERNARY = ConstantVolatility([4.0, 2.0, 1.0])
FEED = [0.3, 0.3, 0.4]


def test_public_names():
    assert fractionkit.still.__all__ == [
        "Charge",
        "ConstantVolatility",
        "Cuts",
        "Distillation",
        "Equilibrium",
        "FittedVolatility",
        "Steered",
        "Stepped",
        "TabulatedVolatility",
        "distil",
    ]


# -- invariants ------------------------------------------------------------------------------------

volatilities = st.lists(st.floats(1.0, 6.0), min_size=2, max_size=4)


@st.composite
def set_ups(draw):
    alpha = draw(volatilities)
    parts = draw(st.lists(st.floats(0.02, 1.0), min_size=len(alpha), max_size=len(alpha)))
    return {
        "alpha": alpha,
        "charge": 10.0 * np.array(parts) / sum(parts),
        "stages": draw(st.sampled_from([1, 1.5, 2, 3, 5.5, 9])),
        "reflux_ratio": draw(st.floats(0.0, 40.0)),
        "column_holdup": draw(st.sampled_from([0.0, 0.01, 0.5])),
        "condenser_holdup": draw(st.sampled_from([0.0, 0.05])),
    }


@settings(max_examples=25, deadline=None)
@given(set_ups())
def test_invariants(set_up):
    alpha, charge = set_up.pop("alpha"), set_up.pop("charge")
    result = distil(ConstantVolatility(alpha), charge, pressure=ATM, tolerance=1e-4, **set_up)
    total = result.distillate_amounts + result.pot_amounts + result.column_amounts
    np.testing.assert_allclose(total, np.broadcast_to(charge, total.shape), rtol=0, atol=1e-9)
    for x in (result.distillate, result.pot):
        assert np.all(x >= 0.0)
        np.testing.assert_allclose(x.sum(axis=-1), 1.0, rtol=0, atol=1e-12)
    assert np.all(np.diff(result.distillate_amounts, axis=0) >= 0.0)
    # no azeotrope: the head cools never, to within ten times what the tolerance of the run is in K
    assert np.all(np.diff(result.head_temperature) > -0.1)
    ends = np.array([0.2, 0.5, 0.9]) * result.distilled_mass[-1]
    cuts = result.cut_at_mass(ends)
    np.testing.assert_allclose(cuts.amounts.sum(axis=0) + cuts.rest, charge, rtol=0, atol=1e-9)
    np.testing.assert_allclose(cuts.distilled_end, ends, rtol=1e-6)
    assert np.all(cuts.amounts >= 0.0)


@pytest.mark.parametrize("stages, reflux, held", [(1, 0.0, 0.0), (6, 5.0, 0.0), (6, 20.0, 0.0), (5, 4.0, 0.05)])
def test_a_tighter_tolerance_moves_the_answer_less_than_it_says(stages, reflux, held):
    def amounts(tolerance):
        result = distil(
            TERNARY,
            FEED,
            stages,
            reflux,
            ATM,
            column_holdup=held,
            condenser_holdup=held / 5,
            distilled=0.8,
            tolerance=tolerance,
        )
        return result.cut_at_mass([0.2, 0.4, 0.6, 0.8]).amounts

    exact = amounts(1e-8)
    for tolerance in (1e-3, 1e-4, 1e-5):
        assert np.abs(amounts(tolerance) - exact).max() < tolerance


# -- scenarios -------------------------------------------------------------------------------------


def test_scenarios_are_what_each_is_alone():
    feeds = np.array([[0.3, 0.3, 0.4], [0.1, 0.6, 0.3], [0.3, 0.3, 0.4]])
    stages, reflux, held = [3, 6, 4.5], [2.0, 5.0, 3.0], [0.0, 0.02, 0.01]
    together = distil(TERNARY, feeds, stages, reflux, ATM, column_holdup=held, distilled=0.7)
    cuts = together.cut_at_mass([0.2, 0.5, 0.7])
    for k in range(3):
        alone = distil(TERNARY, feeds[k], stages[k], reflux[k], ATM, column_holdup=held[k], distilled=0.7)
        np.testing.assert_allclose(together.pot_amounts[k, -1], alone.pot_amounts[-1], rtol=0, atol=1e-9)
        np.testing.assert_allclose(together.head_temperature[k, 0], alone.head_temperature[0], rtol=0, atol=1e-6)
        np.testing.assert_allclose(cuts.amounts[k], alone.cut_at_mass([0.2, 0.5, 0.7]).amounts, rtol=0, atol=1e-9)


def test_a_fraction_of_a_stage_lies_between():
    purity = [float(distil(TERNARY, FEED, n, 4.0, ATM).distillate[0, 0]) for n in (3.0, 3.25, 3.5, 3.75, 4.0)]
    assert np.all(np.diff(purity) > 0.0)


def test_fitted_volatilities_agree_with_the_mixture():
    mixture = Mixture(["chloroform", "trichloroethylene", "tetrachloroethylene"])
    ends = [0.2, 0.5, 0.8, 1.2]
    charge = Charge([0.3, 0.3, 0.4], 1.5, "mass")
    quick = distil(mixture, charge, 5, 3.0, 98600.0)
    slow = distil(mixture, charge, 5, 3.0, 98600.0, quick=False)
    np.testing.assert_allclose(quick.cut_at_mass(ends).w, slow.cut_at_mass(ends).w, rtol=0, atol=1e-3)
    np.testing.assert_allclose(quick.cut_at_mass(ends).head_end, slow.cut_at_mass(ends).head_end, rtol=0, atol=0.05)


def test_a_fit_of_several_mixtures_follows_each():
    mixture = Mixture(["chloroform", "tetrachloroethylene"])
    shift = np.zeros(len(mixture.model_errors))
    shift[0] = 2.0
    members = [mixture, mixture.perturbed(shift)]
    fitted = fractionkit.still.FittedVolatility(members, [98600.0, 101325.0])
    x = np.random.default_rng(1).dirichlet([1.0, 1.0], size=(40, 2))
    T, y = fitted.bubble_point(x, fitted.pressure)
    for s, member in enumerate(members):
        true_T, true_y = member.bubble_point(x[:, s], fitted.pressure[s])
        np.testing.assert_allclose(y[:, s], true_y, rtol=0, atol=max(3.0 * fitted.error_y, 1e-6))
        np.testing.assert_allclose(T[:, s], true_T, rtol=0, atol=max(3.0 * fitted.error_T, 1e-4))
    with pytest.raises(InputError, match="fitted pressure"):
        fitted.bubble_point(x, 90000.0)
    # many set-ups with the same scenarios
    many = fitted.take([0, 1, 0, 1])
    result = distil(many, np.tile([0.5, 0.5], (4, 1)), [2, 2, 5, 5], 3.0, many.pressure)
    np.testing.assert_allclose(result.distillate[:, 0, 0].argsort(), [0, 1, 2, 3], atol=1)
    alone = distil(members[1], [0.5, 0.5], 5, 3.0, 101325.0)
    np.testing.assert_allclose(result.pot_amounts[3, -1], alone.pot_amounts[-1], rtol=0, atol=1e-4)


# -- how the reflux is run -------------------------------------------------------------------------


def test_steps_of_equal_reflux_are_one_reflux():
    once = distil(TERNARY, FEED, 5, 3.0, ATM, tolerance=1e-6)
    stepped = distil(TERNARY, FEED, 5, Stepped([3.0, 3.0, 3.0], [0.2, 0.5]), ATM, tolerance=1e-6)
    np.testing.assert_allclose(stepped.pot_amounts[-1], once.pot_amounts[-1], rtol=0, atol=1e-6)


def test_steps_by_time_change_when_the_time_has_come():
    result = distil(TERNARY, FEED, 5, Stepped([1.0, 4.0], [100.0], by="time"), ATM, boilup=0.004)
    change = np.flatnonzero(np.diff(result.reflux_ratio))
    assert result.reflux_ratio[change[0]] == 1.0
    assert result.time[change[0]] == pytest.approx(100.0, rel=1e-9)
    # 0.4 mol boiled up, half of it returned
    assert result.distilled[change[0]] == pytest.approx(0.2, rel=1e-6)
    assert result.distillate[change[0] + 1, 0] > result.distillate[change[0], 0]


def test_steered_reflux_holds_the_distillate_exactly_without_holdup():
    binary = ConstantVolatility([2.5, 1.0])
    result = distil(binary, [0.5, 0.5], 6, Steered(0, 0.9), ATM)
    np.testing.assert_allclose(result.distillate[:, 0], 0.9, rtol=0, atol=2e-3)
    assert not result.finished
    assert result.reflux_ratio[-1] >= 100.0
    # component balance: D (0.9 - x) = 0.5 - x
    x = result.pot[-1, 0]
    assert result.distilled[-1] == pytest.approx((0.5 - x) / (0.9 - x), rel=1e-3)


def test_steered_reflux_keeps_its_lower_bound_while_that_is_enough():
    result = distil(ConstantVolatility([2.5, 1.0]), [0.5, 0.5], 6, Steered(0, 0.9, at_least=3.0), ATM)
    early = np.abs(result.reflux_ratio - 3.0) < 1e-9
    assert early.any()
    assert np.all(result.distillate[early, 0] > 0.898)
    np.testing.assert_allclose(result.distillate[~early, 0], 0.9, rtol=0, atol=2e-3)


def test_steered_reflux_with_holdup_comes_to_the_target():
    result = distil(
        ConstantVolatility([2.5, 1.0]), [0.5, 0.5], 6, Steered(0, 0.9), ATM, column_holdup=0.02, condenser_holdup=0.004
    )
    middle = (result.distilled > 0.15) & (result.distilled < 0.45)
    np.testing.assert_allclose(result.distillate[middle, 0], 0.9, rtol=0, atol=0.003)


def test_no_scenario_reaches_the_target():
    # Fenske: three stages of volatility 2 at total reflux give 8/9 from an equimolar pot
    with pytest.raises(InputError, match=r"at most 0\.8889"):
        distil(ConstantVolatility([2.0, 1.0]), [0.5, 0.5], 3, Steered(0, 0.95, at_most=1e5), ATM)


def test_equal_latent_heats_are_constant_molar_overflow():
    molar = distil(TERNARY, FEED, 5, 3.0, ATM, latent_heats=[3e4] * 3, heater_power=20.0)
    latent = distil(TERNARY, FEED, 5, 3.0, ATM, latent_heats=[3e4] * 3, heater_power=20.0, overflow="latent")
    np.testing.assert_allclose(latent.pot_amounts[-1], molar.pot_amounts[-1], rtol=0, atol=1e-5)
    assert latent.time[-1] == pytest.approx(molar.time[-1], rel=1e-6)
    assert molar.heat[-1] == pytest.approx(4.0 * 0.95 * 3e4, rel=1e-6)


# -- receivers -------------------------------------------------------------------------------------


def test_receivers_by_head_temperature():
    mixture = Mixture(["chloroform", "trichloroethylene", "tetrachloroethylene"])
    result = distil(mixture, Charge([0.3, 0.3, 0.4], 1.5, "mass"), 6, 5.0, 98600.0)
    changes = np.array([66.0, 84.0, 90.0]) + 273.15
    cuts = result.cut_at_head(changes)
    np.testing.assert_allclose(cuts.head_end[:3], changes, rtol=0, atol=0.02)
    np.testing.assert_allclose(cuts.head_start[1:], cuts.head_end[:-1])
    assert cuts.w[0, 0] > 0.9
    assert cuts.mass.sum() == pytest.approx(result.distilled_mass[-1], rel=1e-12)


@pytest.mark.parametrize("ends", [[], [-0.1], [0.5, 0.2], [np.nan], [5.0]])
def test_impossible_receivers(ends):
    with pytest.raises(InputError, match="cuts"):
        distil(TERNARY, FEED, 2, 1.0, ATM).cut_at_mass(ends)


# -- bad input -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change, message",
    [
        ({"reflux_ratio": -1.0}, "reflux ratios from 0"),
        ({"reflux_ratio": np.inf}, "reflux ratios from 0"),
        ({"reflux_ratio": Stepped([1.0, 2.0], [])}, "one end fewer"),
        ({"reflux_ratio": Stepped([1.0, 2.0, 3.0], [0.5, 0.2])}, "that rise"),
        ({"reflux_ratio": Stepped([1.0, 2.0], [60.0], by="time")}, "boilup"),
        ({"reflux_ratio": Steered(3, 0.9)}, "a component, 0 to 2"),
        ({"reflux_ratio": Steered(0, 1.5)}, "between 0 and 1"),
        ({"stages": 0}, "theoretical stages"),
        ({"stages": np.nan}, "theoretical stages"),
        ({"pressure": -5.0}, "a pressure above 0 Pa"),
        ({"distilled": 1.0}, "below 1"),
        ({"column_holdup": -0.1}, "0 or more"),
        ({"column_holdup": 1.5}, "less than the charge of 1 mol"),
        ({"column_holdup": 0.2, "distilled": 0.9}, "less than 0.8 of the charge"),
        ({"charge": Charge([0.3, 0.3, 0.3])}, "sum to 1"),
        ({"charge": Charge([0.3, 0.3, 0.4], -1.0)}, "an amount above zero"),
        ({"charge": [0.5, -0.1, 0.6]}, "moles of 0 or more"),
        ({"charge": [0.0, 0.0, 0.0]}, "moles of 0 or more"),
        ({"charge": [0.5, 0.5]}, "3, as the mixture has"),
        ({"overflow": "latent"}, "latent heats"),
        ({"heater_power": 10.0}, "latent heats"),
        ({"boilup": -1.0}, "above zero"),
        ({"tolerance": 0.5}, "tolerance from"),
        ({"stages": [2, 3], "reflux_ratio": [1.0, 2.0, 3.0]}, "one for each scenario"),
    ],
)
def test_bad_input(change, message):
    arguments = {"charge": FEED, "stages": 4, "reflux_ratio": 2.0, "pressure": ATM} | change
    with pytest.raises(InputError, match=message):
        distil(TERNARY, **arguments)


def test_all_faults_are_told_at_once():
    with pytest.raises(InputError) as caught:
        distil(TERNARY, FEED, 0, -1.0, -1.0)
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize("alpha", [[0.0, 1.0], [np.nan, 1.0], [[[1.0]]]])
def test_bad_volatility(alpha):
    with pytest.raises(InputError, match="volatilities"):
        ConstantVolatility(alpha)


def test_bad_table():
    with pytest.raises(InputError, match="x rising"):
        TabulatedVolatility([0.1, 0.1], [0.2, 0.3])
    with pytest.raises(InputError, match="two or more points"):
        TabulatedVolatility([0.0, 0.5, 1.0], [0.0, 0.7, 1.0])


def test_an_absent_component_stays_absent():
    result = distil(TERNARY, [0.5, 0.0, 0.5], 5, 4.0, ATM, column_holdup=0.02)
    assert np.all(result.distillate_amounts[:, 1] == 0.0)
    assert np.all(result.distillate[:, 1] < 1e-12)


@pytest.mark.parametrize("stages", [1.4, 2.5, 6.75])
def test_fenske_holds_for_a_fraction_of_a_stage(stages):
    """At total reflux the ratio of two components grows by alpha**N (Fenske, Ind. Eng. Chem. 24 (1932) 482)."""
    run = distil(ConstantVolatility([2.5, 1.0]), [0.3, 0.7], stages, 1e5, ATM, distilled=0.01)
    ratio = run.distillate[0, 0] / run.distillate[0, 1]
    np.testing.assert_allclose(ratio, 3.0 / 7.0 * 2.5**stages, rtol=2e-4)


@pytest.mark.parametrize("held", [0.0, 0.05])
def test_nothing_jumps_where_a_stage_is_added(held):
    stages = np.array([3.98, 4.0, 4.02])
    run = distil(ConstantVolatility([2.5, 1.0]), [0.3, 0.7], stages, 3.0, ATM, column_holdup=held, distilled=0.6)
    cuts = run.cut_at_mass([0.1, 0.3, 0.6])
    for values in (cuts.w[..., 0], cuts.head_end):
        steps = np.diff(values, axis=0)
        assert np.all(np.abs(steps) < 0.01 * np.ptp(values[0]))
        # the slope may differ on both sides, by less than a factor of two
        assert np.all(np.abs(steps[0]) < 2.0 * np.abs(steps[1]) + 1e-5)


def test_a_part_of_a_stage_condenses_where_its_vapour_does():
    """The head temperature over 3.5 stages is the dew point of what comes over."""
    mixture = Mixture(["chloroform", "tetrachloroethylene"])
    run = distil(mixture, [0.4, 0.6], 3.5, 2.0, 98600.0, distilled=0.5)
    dew, _ = mixture.dew_point(run.distillate, 98600.0)
    np.testing.assert_allclose(run.head_temperature, dew, rtol=0, atol=0.05)
