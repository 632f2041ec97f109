"""Stages counted at total reflux."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.stages import total_reflux_stages
from fractionkit.stages.fenske import key_pair
from fractionkit.still import ConstantVolatility, distil

ATM = 101325.0


@given(alpha=st.floats(1.1, 6.0), pot=st.floats(0.05, 0.9), stages=st.floats(0.1, 20.0))
@settings(max_examples=60, deadline=None)
def test_fenskes_equation_at_a_constant_volatility(alpha, pot, stages):
    ratio = pot / (1.0 - pot) * alpha**stages
    head = ratio / (1.0 + ratio)
    if 1.0 - head < 1e-9:
        return
    found = total_reflux_stages(
        ConstantVolatility([alpha, 1.0]), np.array([pot, 1.0 - pot]), np.array([head, 1.0 - head]), ATM, 0, 1
    )
    assert found == pytest.approx(stages, abs=1e-6)


@pytest.mark.parametrize("stages", [1.0, 2.5, 4.0, 6.75])
def test_what_the_still_makes_at_total_reflux_is_counted_back(stages):
    mixture = Mixture(["trichloroethylene", "tetrachloroethylene"])
    run = distil(mixture, [0.4, 0.6], stages, 1e4, 98600.0, distilled=0.01, tolerance=1e-6)
    found = total_reflux_stages(mixture, np.array([0.4, 0.6]), run.distillate[0], 98600.0, 0, 1)
    # a tenth of a thousandth of the vapour is taken off; the volatility varies over the last part of a stage
    assert found == pytest.approx(stages, abs=0.02)


def test_a_head_poorer_than_the_pot_counts_below_nothing_and_a_pure_one_stops():
    mixture = ConstantVolatility([2.0, 1.0])
    pot = np.array([[0.5, 0.5], [0.5, 0.5]])
    head = np.array([[0.4, 0.6], [1.0, 0.0]])
    found = total_reflux_stages(mixture, pot, head, ATM, 0, 1, most=12)
    assert found[0] == pytest.approx(np.log(2.0 / 3.0) / np.log(2.0))
    assert found[1] == 12.0


def test_key_pair_is_the_pair_that_is_there():
    volatility = np.array([1.0, 9.0, 3.0])
    assert key_pair(volatility, np.array([0.5, 0.05, 0.45]), np.array([0.1, 0.05, 0.85])) == (2, 0)
    assert key_pair(volatility, np.array([0.01, 0.5, 0.49]), np.array([0.0, 0.9, 0.1])) == (1, 2)
