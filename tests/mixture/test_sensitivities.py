"""Every *_errors row against the finite difference of the perturbed mixture."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.substances import names

STEP = 1e-4
SETS = [
    ["chloroform", "carbon tetrachloride"],
    ["dichloromethane", "methanol", "chloroform"],
    ["trichloroethylene", "tetrachloroethylene", "1,1,1-trichloroethane", "ethanol"],
    ["dichloromethane", "1,1,2,2-tetrachloroethane"],  # one of them far outside its Antoine range
]
X = {2: [0.3, 0.7], 3: [0.5, 0.2, 0.3], 4: [0.4, 0.3, 0.2, 0.1]}


def _differences(mix, predict):
    rows = []
    for k in range(len(mix.model_errors)):
        theta = np.zeros(len(mix.model_errors))
        theta[k] = STEP
        rows.append((predict(mix.perturbed(theta)) - predict(mix.perturbed(-theta))) / (2.0 * STEP))
    return np.array(rows)


@pytest.mark.parametrize("subset", SETS, ids=" + ".join)
class TestAgainstDifferences:
    def test_bubble_point(self, subset):
        mix = Mixture(subset)
        x = np.array(X[mix.n])
        T, y = mix.bubble_point(x, 98e3)
        expected = _differences(mix, lambda m: m.bubble_point(x, 98e3)[0])
        assert mix.bubble_point_errors(x, T, y) == pytest.approx(expected, abs=2e-6)

    def test_dew_point(self, subset):
        mix = Mixture(subset)
        y = np.array(X[mix.n])
        T, x = mix.dew_point(y, 98e3)
        expected = _differences(mix, lambda m: m.dew_point(y, 98e3)[0])
        assert mix.dew_point_errors(T, x) == pytest.approx(expected, abs=2e-5)

    def test_density(self, subset):
        mix = Mixture(subset)
        w = np.array(X[mix.n])
        expected = _differences(mix, lambda m: m.density(w, 301.0))
        assert mix.density_errors(w, 301.0) == pytest.approx(expected, abs=1e-6)

    def test_refractive_index(self, subset):
        mix = Mixture(subset)
        w = np.array(X[mix.n])
        expected = _differences(mix, lambda m: m.refractive_index(w, 296.0))
        assert mix.refractive_index_errors(w, 296.0) == pytest.approx(expected, abs=1e-9)


def test_pure_liquid_moves_by_its_vapour_pressure_alone():
    """Clausius-Clapeyron by hand: dT = -u/(d ln p/dT)."""
    mix = Mixture(["chloroform", "ethanol"])
    x = np.array([1.0, 0.0])
    T, y = mix.bubble_point(x, 101325.0)
    errors = mix.bubble_point_errors(x, T, y)
    substance = mix.substances[0].vapour_pressure
    by_hand = -substance.u_ln / float(substance.dln_pressure_dT(T))
    assert errors[0] == pytest.approx(by_hand, rel=1e-9)
    assert np.count_nonzero(np.abs(errors) > 1e-12) == 1


def test_names_kinds_and_order():
    mix = Mixture(["chloroform", "water", "ethanol"])
    kinds = [e.kind for e in mix.model_errors]
    assert kinds == (
        ["vapour_pressure"] * 3 + ["activity"] * 3 + ["activity_asymmetry"] * 3
        + ["density"] * 3 + ["excess_volume"] * 3 + ["refractive_index"] * 3 + ["refraction_rule"]
    )  # fmt: skip
    assert mix.model_errors[4].components == (0, 2)
    assert mix.model_errors[8].name == "activity asymmetry of water + ethanol"
    assert mix.model_errors[9].name == "density of chloroform"
    assert mix.model_errors[3].name == "activity of chloroform + water"
    assert all(e.u >= 0.0 and np.isfinite(e.u) for e in mix.model_errors)


@given(st.lists(st.sampled_from(names()), min_size=3, max_size=3, unique=True), st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_order_of_the_components_does_not_matter(subset, seed):
    """The asymmetry of A + B is that of B + A with the other sign, whichever is named first."""
    mix, turned = Mixture(subset), Mixture(subset[::-1])
    theta = np.random.default_rng(seed).normal(size=len(mix.model_errors))
    shift = dict(
        zip([(e.kind, frozenset(mix.names[i] for i in e.components)) for e in mix.model_errors], theta, strict=True)
    )
    other = [
        shift[e.kind, frozenset(turned.names[i] for i in e.components)] * (-1.0 if "asymmetry" in e.kind else 1.0)
        for e in turned.model_errors
    ]
    x = np.array([0.2, 0.3, 0.5])
    one = mix.perturbed(theta).ln_gamma(x, 330.0)
    assert turned.perturbed(other).ln_gamma(x[::-1], 330.0)[::-1] == pytest.approx(one, abs=1e-10)


def test_shapes():
    mix = Mixture(["chloroform", "carbon tetrachloride"])
    x = np.full((4, 5, 2), 0.5)
    T, y = mix.bubble_point(x, 101325.0)
    assert mix.bubble_point_errors(x, T, y).shape == (4, 5, len(mix.model_errors))
    assert mix.density_errors(x, np.full((4, 5), 293.15)).shape == (4, 5, len(mix.model_errors))
    assert mix.density_errors(x[0, 0], 293.15).shape == (len(mix.model_errors),)


@given(st.lists(st.sampled_from(names()), min_size=2, max_size=4, unique=True), st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_a_perturbed_mixture_still_boils_and_condenses(subset, seed):
    mix = Mixture(subset)
    rng = np.random.default_rng(seed)
    other = mix.perturbed(rng.normal(0.0, 2.0, len(mix.model_errors)))
    x = rng.dirichlet(np.ones(mix.n), 20)
    T, y = other.bubble_point(x, 98e3)
    partial = x * np.exp(other.ln_gamma(x, T) + other.ln_psat(T))
    assert partial.sum(axis=-1) == pytest.approx(np.full(20, 98e3), rel=1e-9)
    back, _ = other.dew_point(y, 98e3)
    assert (back >= T - 1e-6).all()
