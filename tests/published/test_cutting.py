"""Where to cut, against closed forms of differential distillation with constant relative volatility.

Rayleigh (Phil. Mag. 4 (1902) 521; Seader, Henley & Roper, 3rd ed., 13.1): n_i = n_i0 s**alpha_i, s falling from 1, the
volatility of the last component being 1. What has come over between two values of s is then known exactly, and so are
the cuts below. Tolerances are a millionth of the charge, the resolution of the search.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, root

from fractionkit.planning.cutting.best import best_cuts
from fractionkit.planning.cutting.receivers import mixing
from fractionkit.still import ConstantVolatility, distil

ATM = 101325.0


def simple(alpha, charge, molar_mass=None, distilled=0.95):
    mixture = ConstantVolatility(alpha, molar_mass=molar_mass)
    return distil(mixture, charge, 1, 0.0, ATM, tolerance=1e-10, distilled=distilled)


@pytest.mark.parametrize("purity", [0.62, 0.65, 0.66])
def test_light_component_kept_volatility_two(purity):
    """n1 (1 - p)(1 - s**2) = p n2 (1 - s), so that s = p n2 / ((1 - p) n1) - 1: no equation to solve."""
    n1, n2 = 0.5, 0.5
    s = purity * n2 / ((1.0 - purity) * n1) - 1.0
    over = n1 * (1.0 - s**2) + n2 * (1.0 - s)
    plan = best_cuts(simple([2.0, 1.0], [n1, n2]), 0, purity, receivers=3)
    assert plan.heart == 0
    assert plan.ends[0] == pytest.approx(over, abs=1e-6)
    assert plan.assay[0] == pytest.approx(purity, abs=1e-6)
    assert plan.recovery[0] == pytest.approx(1.0 - s**2, abs=3e-6)


@pytest.mark.parametrize("alpha, purity", [(2.5, 0.6), (4.0, 0.7), (8.0, 0.8)])
def test_light_component_kept_by_mass_fraction(alpha, purity):
    """The same with molar masses of chloroform and tetrachloroethylene: the equation for s by a general root finder."""
    mass = np.array([0.119378, 0.165833])
    n = np.array([0.5, 0.5])

    def over(s):
        return n * mass * (1.0 - np.array([s**alpha, s]))

    s = brentq(lambda s: over(s)[0] - purity * over(s).sum(), 1e-6, 1.0 - 1e-9, xtol=1e-15)
    plan = best_cuts(simple([alpha, 1.0], n, mass), 0, purity, receivers=2)
    assert plan.ends[0] == pytest.approx(over(s).sum(), abs=1e-6)
    assert plan.kept[0] == pytest.approx(over(s).sum(), abs=1e-6)


def test_heavy_component_kept_and_the_pot_as_the_product():
    """Heart from s_a to the end s_e; the pot meets the purity from s**(alpha - 1) = n2 (1 - p) / (n1 p) on."""
    alpha, purity, n1, n2 = 4.0, 0.97, 0.4, 0.6
    end = brentq(lambda s: n1 * s**alpha + n2 * s - 0.05, 1e-9, 1.0, xtol=1e-15)

    def heavy(s):
        kept2, kept1 = n2 * (s - end), n1 * (s**alpha - end**alpha)
        return kept2 - purity * (kept1 + kept2)

    s = brentq(heavy, end + 1e-6, 1.0, xtol=1e-15)
    start = n1 * (1.0 - s**alpha) + n2 * (1.0 - s)
    plan = best_cuts(simple([alpha, 1.0], [n1, n2]), 1, purity, receivers=3)
    heart = plan.receivers[plan.heart]
    assert plan.heart == 2
    assert heart.start == pytest.approx(start, abs=1e-6)
    assert heart.end == pytest.approx(0.95, abs=1e-6)
    pot = (n2 * (1.0 - purity) / (n1 * purity)) ** (1.0 / (alpha - 1.0))
    assert plan.residue.stop == pytest.approx(1.0 - n1 * pot**alpha - n2 * pot, abs=1e-5)
    assert plan.residue.recovery[0] == pytest.approx(pot, abs=1e-5)
    assert plan.residue.better


def test_middle_component_kept():
    """The largest cut of a purity begins and ends at one content of the distillate (Lagrange), and its mean is p."""
    alpha, n, purity = np.array([20.0, 4.0, 1.0]), np.array([0.25, 0.5, 0.25]), 0.65

    def left(s):
        return n * s**alpha

    def content(s):
        y = alpha * left(s)
        return y[1] / y.sum()

    def equations(u):
        a, b = np.exp(-np.exp(u))
        made = left(a) - left(b)
        return [made[1] - purity * made.sum(), content(a) - content(b)]

    a, b = np.exp(-np.exp(root(equations, np.log([0.15, 0.6]), tol=1e-13).x))
    plan = best_cuts(simple(alpha, n), 1, purity, receivers=3)
    heart = plan.receivers[plan.heart]
    assert a > b
    assert plan.kept[0] == pytest.approx((left(a) - left(b)).sum(), abs=2e-6)
    # the mass is stationary there, so the marks themselves are known less closely
    assert heart.start == pytest.approx((n - left(a)).sum(), abs=2e-3)
    assert heart.end == pytest.approx((n - left(b)).sum(), abs=2e-3)


def test_entropy_of_mixing():
    """2 mol, half and half: 2 R ln 2; nothing mixed, nothing to undo (any textbook of thermodynamics)."""
    assert mixing(np.array([1.0, 1.0])) == pytest.approx(2.0 * np.log(2.0), rel=1e-15)
    assert mixing(np.array([3.0, 0.0])) == 0.0
    assert mixing(np.array([1.0, 2.0, 1.0])) == pytest.approx(2.0 * np.log(2.0) + 2.0 * np.log(4.0), rel=1e-15)
