"""The equations of the catalogue: inverse, derivative, continuation beyond the range, growth of the uncertainty."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.substances import Substance, catalogue, get
from fractionkit.substances.model import EXTENSION_ERROR

ALL = catalogue()
BY_NAME = pytest.mark.parametrize("substance", ALL, ids=lambda s: s.name)


@BY_NAME
def test_boiling_temperature_is_the_inverse_of_ln_pressure(substance: Substance) -> None:
    curve = substance.vapour_pressure
    temperature = np.linspace(200.0, 520.0, 641).reshape(1, -1)
    solved = curve.boiling_temperature(np.exp(curve.ln_pressure(temperature)))
    assert solved.shape == temperature.shape
    np.testing.assert_allclose(solved, temperature, rtol=1e-12)


@BY_NAME
def test_vapour_pressure_rises_and_its_derivative_is_right(substance: Substance) -> None:
    curve = substance.vapour_pressure
    temperature = np.linspace(200.0, 520.0, 257)
    assert np.all(np.diff(curve.ln_pressure(temperature)) > 0.0)
    step = 1e-4
    central = (curve.ln_pressure(temperature + step) - curve.ln_pressure(temperature - step)) / (2.0 * step)
    np.testing.assert_allclose(curve.dln_pressure_dT(temperature), central, rtol=1e-5)


@BY_NAME
def test_vapour_pressure_continues_smoothly_and_straight_in_reciprocal_temperature(substance: Substance) -> None:
    curve = substance.vapour_pressure
    for end, outward in ((curve.t_min, -1.0), (curve.t_max, 1.0)):
        nudge = 1e-7
        assert curve.ln_pressure(end + nudge) == pytest.approx(float(curve.ln_pressure(end - nudge)), abs=1e-6)
        slopes = curve.dln_pressure_dT([end - nudge, end + nudge])
        assert slopes[1] == pytest.approx(slopes[0], rel=1e-6)
        outside = end + outward * np.array([1.0, 20.0, 60.0])
        reciprocal, ln_p = 1.0 / outside, curve.ln_pressure(outside)
        first, second = np.diff(ln_p) / np.diff(reciprocal)
        assert first == pytest.approx(second, rel=1e-9)


@BY_NAME
def test_vapour_pressure_is_less_certain_outside_its_range(substance: Substance) -> None:
    curve = substance.vapour_pressure
    assert curve.u_at(0.5 * (curve.t_min + curve.t_max)) == pytest.approx(curve.u_ln)
    far = curve.t_max + 40.0
    change = float(curve.ln_pressure(far) - curve.ln_pressure(curve.t_max))
    assert float(curve.u_at(far)) == pytest.approx(np.hypot(curve.u_ln, EXTENSION_ERROR * change))


@BY_NAME
def test_density_falls_and_grows_less_certain_away_from_its_reference(substance: Substance) -> None:
    fit = substance.density
    temperature = np.linspace(max(fit.t_min, 283.0), fit.t_max + 30.0, 50)
    assert np.all(np.diff(fit.at(temperature)) < 0.0)
    assert float(fit.at(fit.t_ref)) == pytest.approx(fit.rho_ref)
    assert float(fit.u_at(fit.t_ref)) == pytest.approx(fit.u)
    distance = np.abs(temperature - fit.t_ref)
    order = np.argsort(distance)
    assert np.all(np.diff(fit.u_at(temperature)[order]) >= -1e-9)
    assert np.all(fit.u_at(temperature) >= fit.u_slope * distance)


@BY_NAME
def test_refractive_index_falls_with_temperature(substance: Substance) -> None:
    fit = substance.refractive_index
    if fit is None:
        assert substance.dissolved
        return
    assert fit.at([293.15, 303.15])[0] > fit.at([293.15, 303.15])[1]
    assert float(fit.u_at(313.15)) > float(fit.u_at(fit.t_ref))
    # The Lorentz-Lorenz function (n2 - 1)/(n2 + 2)/rho is nearly constant (Born and Wolf, Principles of Optics, §2.3):
    # it ties the slope of n to that of the density; measured slopes are 60-105 % of it (common practice, no source).
    n, rho = fit.n_ref, substance.density
    tied = (n**2 - 1.0) * (n**2 + 2.0) / (6.0 * n) * rho.slope / rho.rho_ref
    ratio = fit.slope / tied
    assert 0.6 < ratio < (1.8 if substance.name == "water" else 1.05)


@given(st.floats(min_value=1e3, max_value=1e6), st.sampled_from([s.name for s in ALL]))
def test_any_pressure_has_one_boiling_temperature(pressure: float, name: str) -> None:
    curve = get(name).vapour_pressure
    boiling = curve.boiling_temperature(pressure)
    assert np.exp(curve.ln_pressure(boiling)) == pytest.approx(pressure, rel=1e-10)


def test_scalars_and_arrays_keep_their_shape() -> None:
    item = get("perc")
    assert item.refractive_index is not None
    for call in (
        item.vapour_pressure.ln_pressure,
        item.vapour_pressure.dln_pressure_dT,
        item.vapour_pressure.u_at,
        item.vapour_pressure.boiling_temperature,
        item.density.at,
        item.density.u_at,
        item.refractive_index.at,
        item.refractive_index.u_at,
    ):
        assert np.shape(call(300.0)) == ()
        assert np.shape(call(np.full((2, 1, 3), 300.0))) == (2, 1, 3)
