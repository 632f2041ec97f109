"""The dry point: a differential distillation down to what stays in the flask, against closed forms and other integrators."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fractionkit import Mixture
from fractionkit.inference.dry_point import (
    LEFT,
    LEFT_FRESH,
    LEFT_SPREAD,
    boiled_down,
    dry_points,
    dry_table,
)
from fractionkit.inference.predict import bubble_table

PRESSURE = 101325.0
PAIR = ("chloroform", "carbon tetrachloride")
TERNARY = ("dichloromethane", "chloroform", "tetrachloroethylene")
NARROWER = ("carbon tetrachloride", "trichloroethylene", "tetrachloroethylene")


@pytest.mark.parametrize("alpha", [1.5, 4.0])
@pytest.mark.parametrize("left", [0.05, 0.01])
def test_constant_relative_volatility(alpha, left):
    """Rayleigh in closed form: moles h of the heavier and h^alpha of the lighter are left, h from their sum."""
    light = np.array([0.2, 0.5, 0.9])
    found = boiled_down(
        np.stack([light, 1.0 - light], axis=-1),
        np.log(left),
        lambda x: np.broadcast_to([np.log(alpha), 0.0], x.shape),
        8,
    )
    for w, x in zip(light, found[:, 0], strict=True):
        h = brentq(lambda h, w=w: (1.0 - w) * h + w * h**alpha - left, 1e-12, 1.0)
        assert x == pytest.approx(w * h**alpha / left, rel=1e-9)


@pytest.mark.parametrize("names", [PAIR, ("chloroform", "ethanol"), TERNARY])
def test_rayleighs_equation_with_the_mixtures_own_vapour(names):
    """L dx/dL = y - x integrated by scipy, the vapour from the bubble point (one of the pairs has an azeotrope).

    To 0.03 K and a tenth of what a factor of two in what is left would do.
    """
    mixture = Mixture(names)
    start = np.random.default_rng(1).dirichlet(np.ones(mixture.n), 6)
    found, _ = dry_points(mixture, start, PRESSURE)
    less, _ = dry_points(mixture, start, PRESSURE, -1.0)
    for x, dry, slack in zip(start, found, 0.03 + 0.1 * np.abs(less - found), strict=True):
        course = solve_ivp(
            lambda _, x: np.asarray(mixture.bubble_point(np.clip(x, 0, 1) / np.clip(x, 0, 1).sum(), PRESSURE)[1]) - x,
            (0.0, np.log(LEFT)), x, rtol=1e-8, atol=1e-10,
        )  # fmt: skip
        last = np.clip(course.y[:, -1], 0.0, 1.0)
        assert dry == pytest.approx(float(mixture.bubble_point(last / last.sum(), PRESSURE)[0]), abs=slack)


@pytest.mark.parametrize("names", [PAIR, TERNARY, (*TERNARY, "carbon tetrachloride")])
def test_table_and_solver_say_the_same_as_the_points(names):
    """Interpolated on the table, or solved where there is none; twice and half of what is left lie either side."""
    mixture = Mixture(names)
    w = np.random.default_rng(2).dirichlet(np.ones(mixture.n), 40)
    coordinates = w[:, :-1].copy()
    if mixture.n == 3:
        coordinates[:, 1] /= 1.0 - w[:, 0]
    found = dry_table(mixture, PRESSURE).at(coordinates)
    x = mixture.mole_fractions(w)
    most, more, here, less, least = (dry_points(mixture, x, PRESSURE, away)[0] for away in (2.0, 1.0, 0.0, -1.0, -2.0))
    slack = 0.03 + 0.1 * (less - more)
    assert (np.abs(found.temperature - here) < slack).all()
    near, far = np.exp(-0.5), np.exp(-2.0)  # weights of a normal distribution: least squares of a straight line
    line = (near * (more - less) + 2.0 * far * (most - least)) / (2.0 * near + 8.0 * far)
    assert (np.abs(found.by_left - line) < 0.03 + 0.1 * (least - most)).all()
    assert (found.by_left < 1e-6).all()  # the more is left, the cooler it boils
    assert np.exp(LEFT_SPREAD) == pytest.approx(2.0)


@pytest.mark.parametrize("names", [PAIR, NARROWER])
def test_dry_points_scatter_as_what_is_left_does(names):
    """Standard deviation over 4,000 flasks and tests drawn and solved one by one, of which one in twenty is left out.

    To a fifth and 0.05 K; a flask's own is that of a square about its straight line, b^2 + 2 c^2.
    """
    mixture = Mixture(names)
    w = np.random.default_rng(6).dirichlet(np.full(mixture.n, 2.0), 5)
    found = dry_table(mixture, PRESSURE).at(_coordinates(w))
    rng = np.random.default_rng(7)
    away = rng.standard_normal((4000, 1)) + LEFT_FRESH / LEFT_SPREAD * rng.standard_normal((4000, 1))
    away = away[np.abs(away[:, 0]) < 1.96 * np.hypot(1.0, LEFT_FRESH / LEFT_SPREAD)]
    x = np.broadcast_to(mixture.mole_fractions(w), (len(away), 5, mixture.n))
    sd = dry_points(mixture, x, PRESSURE, away)[0].std(axis=0) / 0.87  # of a normal distribution without its outer 5 %
    stated = np.sqrt(found.by_left**2 + 2.0 * found.bent[:, 0] ** 2 + found.variance())
    assert (np.abs(stated - sd) < 0.05 + 0.2 * sd).all()


@pytest.mark.parametrize("names", [PAIR, NARROWER, TERNARY])
def test_what_a_parabola_leaves_unsaid(names):
    """Against parts left from a quarter to four times as much, finely divided: to 0.05 K and three tenths.

    Of an even pair a parabola says it all, of a wide boiling mixture it does not.
    """
    mixture = Mixture(names)
    w = np.random.default_rng(8).dirichlet(np.full(mixture.n, 2.0), 8)
    found = dry_table(mixture, PRESSURE).at(_coordinates(w))
    away = np.linspace(-2.0, 2.0, 41)[:, None]
    weight = np.exp(-0.5 * away**2)
    x = np.broadcast_to(mixture.mole_fractions(w), (41, 8, mixture.n))
    off = dry_points(mixture, x, PRESSURE, away)[0] - found.temperature - found.by_left * away
    off -= found.bent[:, 0] * away**2
    unsaid = np.sqrt((off**2 * weight).sum(axis=0) / weight.sum())
    assert (np.abs(found.bare - unsaid) < 0.05 + 0.3 * unsaid).all()
    assert (unsaid.max() > 0.1) == (mixture.n == 3)


def _coordinates(w):
    """Of cells, from mass fractions (..., n)."""
    return w[:, :1] if w.shape[1] == 2 else np.stack([w[:, 0], w[:, 1] / (1.0 - w[:, 0])], axis=-1)


def test_pressure_moves_the_dry_point_as_a_boiling_point():
    """Against differences, to 2 %: the composition of the last drop is held, which a change of pressure hardly moves."""
    mixture = Mixture(PAIR)
    w = np.array([[0.3, 0.7], [0.8, 0.2]])
    x = mixture.mole_fractions(w)
    found = dry_table(mixture, PRESSURE).at(w[:, :1])
    up, down = (dry_points(mixture, x, PRESSURE * np.exp(step))[0] for step in (0.01, -0.01))
    np.testing.assert_allclose(found.by_pressure, (up - down) / 0.02, rtol=0.02)


def test_one_run_fitted_again_does_not_solve_its_tables_again():
    mixture = Mixture(PAIR)
    assert bubble_table(mixture, 98e3) is bubble_table(mixture, 98e3)
    assert dry_table(mixture, 98e3) is dry_table(mixture, 98e3)
    assert bubble_table(mixture, 98e3) is not bubble_table(mixture.perturbed(np.ones(len(mixture.model_errors))), 98e3)
