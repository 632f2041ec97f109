"""Binary azeotropes at 101.325 kPa against printed ones; tolerances stand in the table, row by row.

Figures reached over the 57 rows that are checks: T rms 0.35 K, median 0.15 K, 51 rows within 0.6 K; composition median
0.8 wt%, 37 rows within 2 wt%.
Rows outside 0.6 K and 2 wt% have their own tolerance and a note why. Rows marked fitted were used to draw the
parameters and are only required to be reproduced.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from fractionkit.mixture import Mixture

TABLE = Path(__file__).parents[2] / "data" / "checks" / "azeotropes.csv"


def _rows():
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))


ROWS = _rows()
CHECKS = [row for row in ROWS if row["fitted"] == "no" and row["dT_K"]]
FITTED = [row for row in ROWS if row["fitted"] == "yes"]


def _name(row):
    return f"{row['first']} + {row['second']} {row['T_C']}"


def _span(row):
    ends = [float(part) for part in row["T_C"].split("-")]
    return ends[0], ends[-1]


def _azeotrope(row):
    return Mixture([row["first"], row["second"]]).azeotrope(0, 1, 101325.0)


@pytest.mark.parametrize("row", CHECKS, ids=_name)
def test_printed_azeotrope(row):
    point = _azeotrope(row)
    assert point is not None
    low, high = _span(row)
    miss = max(low - (point.T - 273.15), point.T - 273.15 - high, 0.0)
    assert miss <= float(row["dT_K"])
    if row["dw_wt"]:
        assert abs(100.0 * point.w[0] - float(row["wt_pct_first"])) <= float(row["dw_wt"])
    else:
        assert row["note"]


@pytest.mark.parametrize("row", FITTED, ids=_name)
def test_fitted_azeotrope_is_reproduced(row):
    """No check of the data, only that the fit went through them and came out as the stable liquid."""
    point = _azeotrope(row)
    assert point is not None
    assert point.liquids is None
    low, high = _span(row)
    assert pytest.approx(0.5 * (low + high), abs=0.05) == point.T - 273.15
    assert 100.0 * point.w[0] == pytest.approx(float(row["wt_pct_first"]), abs=0.2)


def test_enough_of_them_are_good():
    strict = [row for row in CHECKS if float(row["dT_K"]) <= 0.6]
    assert len(strict) >= 40
    assert len([row for row in strict if row["dw_wt"] and float(row["dw_wt"]) <= 2.0]) >= 28


def _deviations():
    """T deviations and the standard uncertainty that the model claims for them, K (NaN over two liquids, whose boiling
    point hardly depends on the activities)."""
    miss, u = [], []
    for row in CHECKS:
        mix = Mixture([row["first"], row["second"]])
        point = mix.azeotrope(0, 1, 101325.0)
        assert point is not None
        low, high = _span(row)
        miss.append(point.T - 273.15 - np.clip(point.T - 273.15, low, high))
        one = np.linalg.norm(mix.bubble_point_errors(point.x, point.T, point.x))
        u.append(one if point.liquids is None else np.nan)
    return np.array(miss), np.array(u)


def test_deviations_as_a_whole_and_against_the_claimed_uncertainty():
    """rms 0.35 K; beside the claimed u and 0.2 K for the printed value at least nine in ten rows lie within two
    standard uncertainties (reached: all), and the claim is not absurdly wide either (reached: rms ratio 0.59)."""
    miss, u = _deviations()
    assert np.sqrt(np.mean(miss**2)) <= 0.5
    one_liquid = np.isfinite(u)
    assert one_liquid.sum() >= 35
    z = (miss / np.hypot(u, 0.2))[one_liquid]
    assert np.mean(np.abs(z) <= 2.0) >= 0.9
    assert 0.4 <= np.sqrt(np.mean(z**2)) <= 1.2


def test_liquids_and_vapour_are_the_same():
    mix = Mixture(["chloroform", "methanol"])
    point = mix.azeotrope(0, 1, 101325.0)
    assert point is not None
    T, y = mix.bubble_point(point.x, 101325.0)
    assert float(T) == pytest.approx(point.T, abs=1e-8)
    assert y == pytest.approx(point.x, abs=1e-8)


WITH_WATER = ["chloroform", "carbon tetrachloride", "1,2-dichloroethane", "trichloroethylene", "toluene", "hexane"]


@pytest.mark.parametrize("name", WITH_WATER)
def test_two_liquids_boil_where_their_pressures_add_up(name):
    """Steam distillation (textbook): p1 + p2 = P and y_i = p_i/P for liquids that do not dissolve each other; mutual
    solubility of a few percent moves the point by less than 0.5 K."""
    mix = Mixture([name, "water"])
    point = mix.immiscible_boiling_point(0, 1, 101325.0)
    assert point is not None
    assert point.liquids is not None
    T = np.linspace(300.0, 373.0, 73_001)
    total = np.exp(mix.ln_psat(T)).sum(axis=-1)
    simple = T[np.abs(total - 101325.0).argmin()]
    assert pytest.approx(simple, abs=0.5) == point.T
    assert point.x[0] == pytest.approx(np.exp(mix.ln_psat(simple)[0]) / 101325.0, abs=0.01)
    # both liquids give the same partial pressures
    first, second = (x * np.exp(mix.ln_gamma(x, point.T) + mix.ln_psat(point.T)) for x in point.liquids)
    assert first == pytest.approx(second, rel=1e-5)
    assert first.sum() == pytest.approx(101325.0, rel=1e-6)


def test_printed_dichloromethane_water_row_is_impossible():
    """Lange prints 38.8 degC and 99.6 wt%: over liquid water at 38.8 degC its vapour alone is 1.2 wt% or more."""
    mix = Mixture(["dichloromethane", "water"])
    p_water = float(np.exp(mix.ln_psat(38.8 + 273.15)[1]))
    y = np.array([1.0 - p_water / 101325.0, p_water / 101325.0])
    assert 100.0 * mix.mass_fractions(y)[1] > 1.0
