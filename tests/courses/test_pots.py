"""Pot temperatures against brute-force integration, and on simulated runs whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lomax, multivariate_normal, norm

from fractionkit import Mixture
from fractionkit.courses.pots import (
    BIAS,
    HOLDUP_VALUES,
    HOLDUP_WEIGHTS,
    REPEAT,
    SOLUTE,
    Elevated,
    Pots,
    rise_by_pressure,
    solutes,
)
from fractionkit.inference.predict import bubble_table

PRESSURE = 98e3
PAIR = ("trichloroethylene", "tetrachloroethylene")
TERNARY = ("dichloromethane", "chloroform", "tetrachloroethylene")


def a_run(names, runs=3, holdup=0.02):
    """Four cuts and a residue, ``runs`` compositions of them, shared errors of two samples."""
    mixture, rng = Mixture(names), np.random.default_rng(5)
    mass = np.array([0.3, 0.25, 0.2, 0.1, 0.15])
    centre = rng.dirichlet(np.full(mixture.n, 3.0), len(mass))
    w = [rng.dirichlet(200.0 * part, runs) for part in centre]  # each fraction to about 0.03
    table = bubble_table(mixture, PRESSURE)
    moved, bent = rng.standard_normal((2, len(table.errors))), rng.standard_normal((2, len(table.bending))) ** 2
    pots = Pots(np.zeros(5), mass, holdup, table, moved, bent, np.array([0.001, -0.002]), rise_by_pressure(table), None)
    reading = np.full(5, np.nan)
    for v, off in ((4, 2.5), (3, 1.8), (1, 0.4)):
        held = sum(m * part[None] for m, part in zip(mass[v:], centre[v:], strict=True))
        reading[v] = pots.boiling(held, np.zeros(1, dtype=int))[0] + off
    return mixture, replace(pots, reading=reading), w, np.arange(runs) % 2


@pytest.mark.parametrize("names", [PAIR, TERNARY])
def test_bubble_points_of_what_the_pot_holds(names):
    """With no shared errors: those of the mixture itself, to 0.05 K (the table of three components)."""
    mixture, pots, w, samples = a_run(names)
    pots = replace(pots, moved=0.0 * pots.moved, bent=0.0 * pots.bent, pressed=0.0 * pots.pressed)
    held = sum(m * part for m, part in zip(pots.mass[2:], w[2:], strict=True))
    x = mixture.mole_fractions(held / held.sum(axis=1, keepdims=True))
    np.testing.assert_allclose(pots.boiling(held, samples), mixture.bubble_point(x, PRESSURE)[0], atol=0.05)


@pytest.mark.parametrize("names", [PAIR, TERNARY])
def test_readings_of_a_run_against_brute_force(names):
    """Joint normal density of the readings, integrated over solute (scipy's Lomax distribution) and summed over hold-up."""
    _, pots, w, samples = a_run(names)
    trace, gained = pots.begin(3), np.zeros(3)
    for v in range(4, -1, -1):
        gain, trace = pots.update(trace, v, w[v], samples)
        gained += gain
    places, first = [4, 3, 1], [4]
    found = [_brute(pots, w, samples, places, d) - _brute(pots, w, samples, first, d) for d in range(3)]
    away = np.array(found) - gained  # a factor that is the same for all runs is left out
    np.testing.assert_allclose(away - away[0], 0.0, atol=0.05)


def _brute(pots, w, samples, places, d):
    at = samples[d : d + 1]

    def boiling(v, way):
        held = sum(pots.mass[u] * w[u][d : d + 1] for u in range(v, 5)) - way * w[v][d : d + 1]
        return pots.boiling(held, at)[0]

    covariance = REPEAT**2 * np.eye(len(places)) + BIAS**2
    total = 0.0
    for times, weight in zip(HOLDUP_VALUES, HOLDUP_WEIGHTS, strict=True):
        base = [boiling(v, 0.0) for v in places]
        shift = [
            0.0 if v == 4 else times * (boiling(v, 0.5 * pots.holdup) - b) for v, b in zip(places, base, strict=True)
        ]
        plain = np.array([pots.reading[v] for v in places]) - base - np.array(shift)
        share = np.array([pots.mass[4] / pots.mass[v:].sum() for v in places])

        def density(q, plain=plain, share=share):
            rise = pots.by_pressure * np.log1p(q * share)
            return lomax.pdf(q, 2, scale=SOLUTE) * multivariate_normal.pdf(
                plain - rise, np.zeros(len(places)), covariance
            )

        total += weight * quad(density, 0.0, 0.6, limit=200)[0]
    return np.log(total)


def test_a_residue_alone_boils_at_the_reading_or_below():
    """The tabulated likelihood against scipy's integral over the solute; nothing is said where nothing was read."""
    rise = 27.0
    scatter = Elevated.of(np.array([380.0, np.nan]), rise)
    eta = np.linspace(369.5, 382.0, 15)

    def density(t):
        sd = np.hypot(BIAS, REPEAT)
        return quad(
            lambda q: lomax.pdf(q, 2, scale=SOLUTE) * norm.pdf(380.0 - t - rise * np.log1p(q), 0, sd),
            0,
            2,
            points=[0.1],
        )[0]

    expected = np.log([density(t) for t in eta])
    found = scatter.log_likelihood(np.stack([eta, eta]))
    np.testing.assert_allclose(found[0] - found[0].max(), expected - expected.max(), atol=0.05)
    assert (found[1] == 0.0).all()
    assert found[0][0] > -6.0  # 10 K too hot: a residue full of oil, not out of the question
    assert found[0][-1] < -1.0
    q, weight = solutes()
    assert weight.sum() == pytest.approx(1.0)
    assert (np.diff(q) >= 0.0).all()


@pytest.mark.parametrize("names", [PAIR, TERNARY])
def test_the_quadratic_form_of_a_sweep_follows_the_readings(names):
    """Near the run as it is: the exact likelihood of each node with the drawn errors held, from bubble points anew."""
    _, pots, w, samples = a_run(names, runs=6)
    swept = pots.swept(w, samples, np.random.default_rng(3))
    v, step = 2, 0.04
    centre = w[v][0]
    nodes = np.abs(centre + step * np.random.default_rng(4).uniform(-1, 1, (40, len(centre))))
    nodes /= nodes.sum(axis=1, keepdims=True)
    factor = np.log(swept.factor(v, nodes, slice(0, 1))[0])
    exact = np.zeros(40)
    for j in (1,):  # of the pots that held vessel 2 only this one was read
        held = np.repeat(swept.held[j][:1], 40, axis=0) + pots.mass[v] * (nodes - centre)
        change = pots.boiling(held, np.zeros(40, dtype=int)) - pots.boiling(swept.held[j][:1], np.zeros(1, dtype=int))
        exact -= 0.5 * ((swept.off[0, j] - change) / REPEAT) ** 2
    np.testing.assert_allclose(factor, exact - exact.max(), atol=0.1)


def test_a_vessel_drawn_anew_moves_what_the_pot_held():
    _, pots, w, samples = a_run(PAIR, runs=4)
    swept = pots.swept(w, samples, np.random.default_rng(3))
    before = swept.off.copy()
    boiling = pots.boiling(swept.held[1], samples)
    swept.move(3, np.full((4, 2), 0.5))
    expected = sum(pots.mass[u] * (w[u] if u != 3 else np.full((4, 2), 0.5)) for u in range(1, 5))
    np.testing.assert_allclose(swept.held[1], expected)
    np.testing.assert_allclose(swept.off[:, 1], before[:, 1] - (pots.boiling(expected, samples) - boiling))
    np.testing.assert_allclose(swept.off[:, 4], before[:, 4])
