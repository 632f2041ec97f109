"""One liquid where a density was read."""

from pathlib import Path

import numpy as np
import pytest

from fractionkit.composition import correct, fit_evidence
from fractionkit.inference import nodes as points
from fractionkit.inference.layers import PARTED, OneLiquid, parted
from fractionkit.mixture import Mixture
from fractionkit.sheets import load_run

ROOM = 293.15


@pytest.mark.parametrize("names", [("chloroform", "water"), ("chloroform", "ethanol", "water")])
def test_shares_of_cells_add_up_to_the_share_of_the_prior(names):
    """Against a draw of the Dirichlet distribution that the cells divide among themselves."""
    mixture = Mixture(names)
    nodes = points.coarse(mixture.n)
    share = float((parted(mixture, ROOM, nodes) * np.exp(nodes.log_volume)).sum())
    drawn = np.random.default_rng(5).dirichlet(np.full(mixture.n, points.HUG), 20_000)
    assert share == pytest.approx(mixture.parts(drawn, ROOM).mean(), abs=0.01)


def test_what_was_not_read_says_nothing():
    scatter = OneLiquid(np.array([True, False]))
    eta = np.array([[0.0, 0.5, 1.0]] * 2)
    np.testing.assert_allclose(np.exp(scatter.log_likelihood(eta)), [[1.0, 0.5 * (1.0 + PARTED), PARTED], [1.0] * 3])
    assert scatter.count().tolist() == [0, 0]


RUN = """[run]
title = "Invented"
components = [{components}]

[pressure]
station = "101.3 kPa"

[thermometer]
bias = "0.5 °C"
repeat = "0.2 °C"

[density]
bias = "0.0005 g/mL"
repeat = "0.0005 g/mL"
"""


def fitted(folder: Path, row: str, *names: str):
    listed = ", ".join(f'"{name}"' for name in names)
    (folder / "run.toml").write_text(RUN.format(components=listed), encoding="utf-8")
    (folder / "cuts.csv").write_text(f"cut,head_start,head_end,mass,density,density_temp\n{row}\n", encoding="utf-8")
    run = load_run(folder)
    mixture = Mixture(run.components)
    return fit_evidence(mixture, correct(run, mixture).evidence)


def test_a_dry_cut_holds_no_more_water_than_dissolves(tmp_path):
    """Water in chloroform: 0.07 wt% at 20 °C (handbook figure, from memory; the tables of activity say 0.1), with 1 % of
    ethanol hardly more. Without the density nothing is known of layers, and the water stays open."""
    found = fitted(tmp_path, "C1,60.8,61.0,100,1.4780,20.0", "chloroform", "ethanol", "water")
    assert found.high[0, 2] < 0.003
    open_ = fitted(tmp_path, "C1,60.8,61.0,100,,", "chloroform", "ethanol", "water")
    assert open_.high[0, 2] > found.high[0, 2]


def test_heads_far_below_speak_for_water_all_the_same(tmp_path):
    """Chloroform with water boils 5 K lower than without (56.1 °C, data/checks/azeotropes.csv): by no error of a thermometer."""
    found = fitted(tmp_path, "C1,56.2,56.3,100,1.4650,20.0", "chloroform", "water")
    assert found.low[0, 1] > 0.003
