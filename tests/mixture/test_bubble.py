"""Bubble point: every composition, 20-200 kPa, any subset; pure ends exact; equations satisfied."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.mixture.activity import Activity
from fractionkit.substances import get, names

SUBSETS = st.lists(st.sampled_from(names()), min_size=1, max_size=5, unique=True)
PRESSURES = st.floats(20e3, 200e3)


@st.composite
def compositions(draw: st.DrawFn, n: int) -> np.ndarray:
    """A point of the simplex, corners, edges and traces included."""
    parts = draw(st.lists(st.sampled_from([0.0, 1e-15, 1e-6, 0.01]) | st.floats(0.0, 1.0), min_size=n, max_size=n))
    total = sum(parts)
    if total <= 0.0:
        parts[draw(st.integers(0, n - 1))] = total = 1.0
    return np.array(parts) / sum(parts)


@given(st.data(), SUBSETS, PRESSURES)
@settings(max_examples=150, deadline=None)
def test_converges_everywhere_and_satisfies_its_equation(data, subset, pressure):
    mix = Mixture(subset)
    x = data.draw(compositions(mix.n))
    T, y = mix.bubble_point(x, pressure)
    partial = x * np.exp(mix.ln_gamma(x, T) + mix.ln_psat(T))
    assert partial.sum() == pytest.approx(pressure, rel=1e-9)
    assert y == pytest.approx(partial / pressure, abs=1e-9)
    assert (y[x == 0.0] == 0.0).all()


@pytest.mark.parametrize("pressure", [20e3, 101325.0, 200e3])
def test_pure_ends_are_exact(pressure):
    mix = Mixture(names())
    T, y = mix.bubble_point(np.eye(mix.n), pressure)
    exact = [float(get(name).vapour_pressure.boiling_temperature(pressure)) for name in names()]
    assert pytest.approx(exact, abs=1e-9) == T
    assert (y == np.eye(mix.n)).all()


def test_ideal_mixture_against_raoult_by_bisection():
    """Raoult's law solved by the plainest method, one point at a time, from the catalogue's own Antoine."""
    mix = Mixture(["chloroform", "toluene", "acetone"], activity="ideal")
    x = np.array([0.2, 0.5, 0.3])
    low, high = 250.0, 450.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        total = sum(
            f * np.exp(float(s.vapour_pressure.ln_pressure(middle))) for f, s in zip(x, mix.substances, strict=True)
        )
        low, high = (middle, high) if total < 95e3 else (low, middle)
    assert float(mix.bubble_point(x, 95e3)[0]) == pytest.approx(low, abs=1e-8)


def test_leading_shapes_broadcast():
    mix = Mixture(["chloroform", "ethanol"])
    x = np.array([[0.1, 0.9], [0.5, 0.5], [1.0, 0.0]])
    pressure = np.array([[50e3], [101325.0]])
    T, y = mix.bubble_point(x, pressure)
    assert T.shape == (2, 3)
    assert y.shape == (2, 3, 2)
    one, _ = mix.bubble_point(x[1], 101325.0)
    assert T[1, 1] == pytest.approx(float(one), abs=1e-10)
    assert mix.bubble_point(np.zeros((0, 2)), 1e5)[0].shape == (0,)


def test_work_does_not_depend_on_the_number_of_points(monkeypatch):
    """The iteration runs over whole arrays: the same few evaluations for ten points and for twenty thousand."""
    mix = Mixture(["chloroform", "carbon tetrachloride"])
    calls = []
    evaluate = Activity.evaluate

    def counted(self, x, T, *, jacobian=False):
        calls.append(len(x))
        return evaluate(self, x, T, jacobian=jacobian)

    monkeypatch.setattr(Activity, "evaluate", counted)
    for count in (10, 20_000):
        calls.clear()
        x = np.linspace(0.0, 1.0, count)
        mix.bubble_point(np.stack([x, 1.0 - x], axis=-1), 101325.0)
        assert len(calls) <= 8


def test_composition_and_pressure_slopes_by_differences():
    mix = Mixture(["chloroform", "methanol", "trichloroethylene"])
    x = np.array([0.3, 0.2, 0.5])
    T, y = mix.bubble_point(x, 101325.0)
    for change in np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]]):
        up, _ = mix.bubble_point(x + 1e-5 * change, 101325.0)
        down, _ = mix.bubble_point(x - 1e-5 * change, 101325.0)
        assert mix.bubble_gradient(x, T, y) @ change == pytest.approx((up - down) / 2e-5, rel=1e-6)
    up, down = (mix.bubble_point(x, 101325.0 * np.exp(s))[0] for s in (1e-5, -1e-5))
    assert mix.bubble_slope(x, T, y) == pytest.approx((up - down) / 2e-5, rel=1e-6)
