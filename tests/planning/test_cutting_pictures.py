"""Pictures of cuts and campaigns: whole, harmless, true to the numbers, nothing clipped."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from fractionkit.figures.campaign_chart import campaign_chart
from fractionkit.figures.tradeoff_chart import MOST_CURVES, stretched, tradeoff_chart
from fractionkit.figures.tradeoff_receivers import receivers_chart
from fractionkit.planning.campaign.policies import campaign
from fractionkit.planning.cutting.best import best_cuts, frontier
from fractionkit.sheets.still_file import load_still
from fractionkit.still import Charge, ConstantVolatility, distil

SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("chloroform & <co>", "trichloroethylene", "tetrachloroethylene")
STILL = """
[feed]
mass = "800 g"
composition = { chloroform = "40 ± 3 wt%", tetrachloroethylene = "rest" }
[pressure]
station = "98.6 kPa"
[target]
component = "chloroform"
purity = "98 wt%"
[[setup]]
name = "short column"
stages = "3"
reflux = [2]
"""


def run(stages=6, reflux=6.0):
    feed = np.random.default_rng(2).dirichlet([120.0, 120.0, 160.0], 12)
    mixture = ConstantVolatility([4.0, 2.0, 1.0], molar_mass=[0.119, 0.131, 0.166])
    return distil(mixture, Charge(feed, 1.0, "mass"), stages, reflux, np.full(12, 101325.0))


RUN = run()


def texts(svg):
    root = ET.fromstring(svg)
    assert "http" not in re.sub(r'xmlns(:xlink)?="[^"]*"', "", svg)
    ids = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert len(ids) == len(set(ids))
    assert not any(element.tag.endswith("script") for element in root.iter())
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def test_trade_off_names_every_curve_and_the_target():
    curves = [("six stages", frontier(RUN, 1)), ("flask <1>", frontier(run(1, 0.0), 1))]
    shown = texts(tradeoff_chart(curves, "trichloroethylene", 0.8))
    assert "six stages" in shown
    assert "flask <1>" in shown
    assert "target 80 wt%" in shown
    assert any("trichloroethylene" in text for text in shown)


def test_trade_off_of_nothing_and_of_many():
    texts(tradeoff_chart([], "trichloroethylene", 0.9))
    curve = frontier(RUN, 1)
    many = [(f"column {k}", curve) for k in range(MOST_CURVES + 3)]
    shown = texts(tradeoff_chart(many, "trichloroethylene", 0.9999))
    assert f"column {MOST_CURVES - 1}" in shown
    assert f"column {MOST_CURVES}" not in shown


def test_axis_shrinks_what_is_not_the_target_by_equal_factors():
    np.testing.assert_allclose(np.diff(stretched(np.array([0.0, 0.9, 0.99, 0.999]))), 1.0, rtol=1e-12)


@pytest.mark.parametrize("receivers", [1, 3, 6, 20])
def test_receivers_are_all_there(receivers):
    plan = best_cuts(RUN, 1, 0.7, receivers=receivers, names=NAMES)
    svg = receivers_chart(plan)
    shown = texts(svg)
    assert "chloroform & <co>" in shown
    if receivers <= 6:
        assert {receiver.name for receiver in plan.receivers} <= set(shown)
        assert "pot" in shown
    description = next(ET.fromstring(svg).iter(f"{SVG}desc")).text
    heart = plan.receivers[plan.heart] if plan.heart is not None else plan.receivers[0]
    assert f"{heart.name} {1e3 * heart.mass.mean():.0f} g" in description


@pytest.mark.parametrize("batches, carried", [(1, 0), (3, 1)])
def test_campaign_is_drawn_for_one_batch_and_for_more(tmp_path, batches, carried):
    (tmp_path / "STILL.toml").write_text(STILL, encoding="utf-8")
    made = campaign(load_still(tmp_path), batches=batches, carried=carried, setup="short column", reflux=2.0, count=12)
    shown = texts(campaign_chart(made))
    assert "cuts carried" in shown
    assert "kept" in shown
    if carried == 0:
        assert "nothing is carried" in shown
