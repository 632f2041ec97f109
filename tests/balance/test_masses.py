"""Masses and the balance of the charge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.balance import Side, close, cut_masses, weighing_u


def test_a_weighing_without_uncertainty_is_a_bench_balance():
    """Common practice, no source: 0.05 g and 0.05 %, so 100 g is good to 0.07 g and 10 g to 0.05 g."""
    assert float(weighing_u(0.100)) == pytest.approx(0.0707e-3, rel=1e-3)
    assert float(weighing_u(0.010)) == pytest.approx(0.0502e-3, rel=1e-2)


def test_volume_stands_in_for_a_mass():
    masses = cut_masses(
        np.array([0.1, np.nan, np.nan]), np.array([np.nan, 50e-6, np.nan]), np.full(3, 1500.0), np.full(3, 1.5)
    )
    np.testing.assert_allclose(masses.mass[:2], [0.1, 0.075])
    assert np.isnan(masses.mass[2])
    assert masses.from_volume.tolist() == [False, True, False]
    assert masses.u[1] == pytest.approx(0.075 * np.hypot(0.01, 0.001))


@given(st.lists(st.floats(0.01, 0.5), min_size=1, max_size=6), st.floats(0.0, 0.2), st.floats(0.0, 0.05))
def test_nothing_is_made_or_lost(cuts, residue, loss):
    """Charge = cuts + residue + loss holds draw by draw, in total and for each component."""
    mass = np.array(cuts)
    rng = np.random.default_rng(1)
    draws = rng.dirichlet([2.0, 3.0], (200, len(cuts)))
    charge = mass.sum() + residue + loss
    feed = rng.dirichlet([2.0, 3.0], 200)
    rest = rng.dirichlet([1.0, 9.0], 200)
    masses = cut_masses(mass, np.full(len(cuts), np.nan), np.full(len(cuts), 1500.0), np.zeros(len(cuts)))
    found = close(masses, draws, Side(charge, 0.0, feed), Side(residue, 0.0, rest), None)
    assert found.recovered == pytest.approx(mass.sum())
    assert found.loss_draws.mean() == pytest.approx(loss, abs=5e-4)
    np.testing.assert_allclose(found.component_charge.sum(axis=1), charge)
    total = found.component_recovered.sum(axis=1) + found.loss_draws
    np.testing.assert_allclose(total, charge, atol=1e-12)
    np.testing.assert_allclose(found.component_loss, found.component_charge - found.component_recovered)


def test_without_a_charge_there_is_no_loss():
    masses = cut_masses(np.array([0.1]), np.array([np.nan]), np.array([1500.0]), np.array([1.0]))
    found = close(masses, np.full((50, 1, 2), 0.5), None, None, None)
    assert found.loss_draws is None
    assert found.component_charge is None
