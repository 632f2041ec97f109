"""Carbon tetrachloride + trichloroethylene at 760 mmHg against the published T-x-y table (data/checks).

Figures reached: boiling temperature rms 0.19 K (largest 0.28 K); vapour rms 0.007 (largest 0.0135), without the two
outlying values 0.0046.
The pair's activity is Raoult's law; nothing was fitted to the table.
"""

from pathlib import Path

import numpy as np
import pytest

from fractionkit.mixture import Mixture

TABLE = Path(__file__).parents[2] / "data" / "checks" / "vle_carbon_tetrachloride_trichloroethylene.csv"
OUTLYING = [1, 8]  # x1 = 0.147 and 0.525


@pytest.fixture(scope="module")
def table():
    """T in K, x1, y1 (the row at x1 = 0.706 has no y1)."""
    T, x, y = np.genfromtxt(TABLE, delimiter=",", skip_header=2).T
    assert len(T) == 12
    return T + 273.15, x, y


@pytest.fixture(scope="module")
def computed(table):
    _, x, _ = table
    return Mixture(["carbon tetrachloride", "trichloroethylene"]).bubble_point(np.stack([x, 1.0 - x], -1), 101325.0)


def test_boiling_temperatures(table, computed):
    miss = computed[0] - table[0]
    assert np.sqrt(np.mean(miss**2)) <= 0.4  # reached: 0.19
    assert np.abs(miss).max() <= 0.45  # reached: 0.28


def test_vapour_compositions(table, computed):
    miss = (computed[1][:, 0] - table[2])[~np.isnan(table[2])]
    assert np.abs(miss).max() <= 0.015  # reached: 0.0135
    assert np.sqrt(np.mean(miss**2)) <= 0.008  # reached: 0.0069
    assert np.sqrt(np.mean(np.delete(miss, OUTLYING) ** 2)) <= 0.006  # reached: 0.0046


def test_claimed_uncertainty_is_what_the_table_leaves(table):
    """Amplitudes of the two Margules terms fitted to the printed temperatures (0.2 K) beside the vapour pressures' own u.

    Reached: 0.023 with u 0.016 and 0.001 with u 0.029; claimed 0.04 (a copy of a table, one pressure) and 0.025.
    """
    T, x, _ = table
    mix = Mixture(["carbon tetrachloride", "trichloroethylene"])
    liquid = np.stack([x, 1.0 - x], -1)
    computed_T, y = mix.bubble_point(liquid, 101325.0)
    felt = [k for k, e in enumerate(mix.model_errors) if e.kind.startswith(("vapour", "activity"))]
    u = np.array([mix.model_errors[k].u for k in felt])
    wide = np.where([k >= 2 for k in range(4)], 0.3 / u, 1.0)  # a prior of 0.3 on both amplitudes
    slopes = mix.bubble_point_errors(liquid, computed_T, y)[:, felt] * wide
    precision = slopes.T @ slopes / 0.2**2 + np.eye(4)
    mean = 0.3 * np.linalg.solve(precision, slopes.T @ (T - computed_T) / 0.2**2)[2:]
    left = 0.3 * np.sqrt(np.diag(np.linalg.inv(precision)))[2:]
    claimed = u[2:]
    assert (np.abs(mean) <= claimed).all()
    assert (left <= 1.3 * claimed).all()
    assert (claimed <= 4.0 * left).all()


def test_the_two_outlying_vapours_are_outlying_in_the_table_itself(table):
    """Without any model: the relative volatility of the printed rows is smooth but for two of them.

    alpha = y (1-x)/(x (1-y)) lies between 1.27 and 1.39 and rises slowly; 1.24 at x1 = 0.147 and 1.30 at 0.525 fall
    below both their neighbours by 0.03-0.08 and 0.05, which no smooth pair does while its boiling temperature runs on
    evenly. 0.012 more vapour mole fraction in each would mend it (0.589 may be 0.598 with two digits exchanged).
    """
    _, x, y = table
    alpha = y * (1.0 - x) / (x * (1.0 - y))
    dip = np.array([alpha[k] - min(alpha[k - 1], alpha[k + 1]) for k in range(1, 10)])
    assert sorted(np.argsort(dip)[:2] + 1) == OUTLYING
    assert (dip[[k - 1 for k in OUTLYING]] < -0.025).all()
    assert np.nanmedian(np.delete(alpha, OUTLYING)) == pytest.approx(1.33, abs=0.02)


def test_liquid_composition_from_the_published_temperatures(table):
    """The other way round: the printed boiling temperatures give the printed liquids within 3 mol%."""
    T, x, _ = table
    mix = Mixture(["carbon tetrachloride", "trichloroethylene"])
    grid = np.linspace(0.0, 1.0, 2001)
    boiling, _ = mix.bubble_point(np.stack([grid, 1.0 - grid], -1), 101325.0)
    found = np.interp(-T, -boiling, grid)
    assert np.abs(found - x).max() <= 0.03
