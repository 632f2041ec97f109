"""NRTL against thermo's own, its derivatives against differences, and the thermodynamic identities."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.mixture.activity import TAU_T_MAX, TAU_T_MIN, Activity
from fractionkit.substances import names


def _activity(seed: int, n: int) -> Activity:
    rng = np.random.default_rng(seed)
    off = 1.0 - np.eye(n)
    alpha = rng.uniform(0.2, 0.47, (n, n))
    margules, skew = rng.normal(0.0, 0.3, (2, n, n))
    return Activity(
        a=rng.normal(0.0, 0.5, (n, n)) * off,
        b=rng.normal(100.0, 200.0, (n, n)) * off,
        alpha=0.5 * (alpha + alpha.T) * off,
        margules=0.5 * (margules + margules.T) * off,
        skew=0.5 * (skew - skew.T),
        u=np.zeros((n, n)),
        u_skew=np.zeros((n, n)),
    )


def test_against_the_general_purpose_package():
    """thermo 0.6.1, NRTL (Renon and Prausnitz 1968), four components at 330 K."""
    from thermo.nrtl import NRTL

    model = _activity(1, 4)
    model = replace(model, margules=np.zeros((4, 4)), skew=np.zeros((4, 4)))
    x = [0.1, 0.2, 0.3, 0.4]
    zero = np.zeros((4, 4)).tolist()
    other = NRTL(
        T=330.0, xs=x, tau_as=model.a.tolist(), tau_bs=model.b.tolist(), tau_es=zero, tau_fs=zero, tau_gs=zero,
        tau_hs=zero, alpha_cs=model.alpha.tolist(), alpha_ds=zero,
    )  # fmt: skip
    ours = model.evaluate(np.array(x), np.array(330.0))
    assert ours.ln_gamma == pytest.approx(np.log(other.gammas()), abs=1e-12)
    assert ours.slope_t == pytest.approx(np.array(other.dgammas_dT()) / other.gammas(), abs=1e-12)


@given(st.integers(0, 10_000), st.integers(2, 5))
@settings(max_examples=40, deadline=None)
def test_derivatives_and_gibbs_duhem(seed, n):
    model = _activity(seed, n)
    rng = np.random.default_rng(seed)
    amounts, T = rng.dirichlet(np.ones(n)), np.array(rng.uniform(260.0, 450.0))
    full = model.evaluate(amounts, T, jacobian=True)
    assert full.slope_x is not None
    assert full.slope_x == pytest.approx(full.slope_x.T, abs=1e-10)
    assert amounts @ full.slope_x == pytest.approx(np.zeros(n), abs=1e-10)
    up, down = (model.evaluate(amounts, T + s).ln_gamma for s in (1e-3, -1e-3))
    assert full.slope_t == pytest.approx((up - down) / 2e-3, abs=1e-8)
    for j in range(n):
        step = 1e-6 * np.eye(n)[j]
        up, down = (model.evaluate(m / m.sum(), T).ln_gamma for m in (amounts + step, amounts - step))
        assert full.slope_x[:, j] == pytest.approx((up - down) / 2e-6, abs=1e-6)


@given(st.integers(0, 10_000), st.integers(2, 5))
@settings(max_examples=40, deadline=None)
def test_margules_terms_against_differences_of_the_excess_energy(seed, n):
    """ln gamma_k = d(N g^E/RT)/dn_k, the energy written out pair by pair from its definition."""
    model = replace(_activity(seed, n), a=np.zeros((n, n)), b=np.zeros((n, n)))
    amounts = np.random.default_rng(seed).dirichlet(np.ones(n)) + 0.02

    def energy(moles: np.ndarray) -> float:
        x = moles / moles.sum()
        terms = [
            x[i] * x[j] * (model.margules[i, j] + model.skew[i, j] * (x[i] - x[j]))
            for i in range(n)
            for j in range(i + 1, n)
        ]
        return float(moles.sum() * sum(terms))

    ln_gamma = model.evaluate(amounts / amounts.sum(), np.array(330.0)).ln_gamma
    for k in range(n):
        step = 1e-5 * np.eye(n)[k]
        slope = (energy(amounts + step) - energy(amounts - step)) / 2e-5
        assert ln_gamma[k] == pytest.approx(slope, abs=1e-8)


def test_two_margules_amplitudes_at_infinite_dilution():
    """Two-suffix and three-suffix Margules (textbook): A - B at the first component's end, A + B at the other's."""
    zero, one = np.zeros((2, 2)), 1.0 - np.eye(2)
    model = Activity(zero, zero, 0.3 * one, 0.5 * one, np.array([[0.0, 0.2], [-0.2, 0.0]]), zero, zero)
    ends = model.evaluate(np.array([[0.0, 1.0], [1.0, 0.0]]), np.array(330.0)).ln_gamma
    assert ends[0] == pytest.approx([0.3, 0.0], abs=1e-14)
    assert ends[1] == pytest.approx([0.0, 0.7], abs=1e-14)


def test_pure_component_has_no_activity():
    mix = Mixture(names())
    ln_gamma = mix.ln_gamma(np.eye(mix.n), 340.0)
    assert np.diagonal(ln_gamma) == pytest.approx(np.zeros(mix.n), abs=1e-14)
    assert np.isfinite(ln_gamma).all()


def test_parameters_do_not_run_away_outside_the_fitted_span():
    mix = Mixture(["hexane", "water"])
    x = np.array([0.5, 0.5])
    assert (mix.ln_gamma(x, 50.0) == mix.ln_gamma(x, TAU_T_MIN)).all()
    assert (mix.ln_gamma(x, 2000.0) == mix.ln_gamma(x, TAU_T_MAX)).all()


def test_ideal_option_is_raoult():
    mix = Mixture(["chloroform", "methanol"], activity="ideal")
    assert not mix.ln_gamma([0.5, 0.5], 330.0).any()
    assert mix.relative_volatility([0.5, 0.5], 101325.0)[1] == 1.0
