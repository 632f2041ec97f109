"""Where a plan's charge comes from: a composition, cuts of an assessed run, bottles on the shelf."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fractionkit.assessment import assess
from fractionkit.errors import AtOddsError, InputError
from fractionkit.planning.feed import feed_of, shares
from fractionkit.planning.sampling import stratified, truncated
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.quantities import Flag, parse
from fractionkit.sheets import load_run
from fractionkit.sheets.model import PressureEntry, TargetEntry, ThermometerEntry
from fractionkit.sheets.still_model import FeedEntry, StillSheet
from fractionkit.stock import open_stock

RUN = Path(__file__).resolve().parents[2] / "data" / "demo_binary"
RNG = np.random.default_rng(5)


def sheet(feed, **more):
    made = StillSheet(
        source=Path("STILL.toml"), title="", date=None, components=(), feed=feed,
        pressure=PressureEntry(station=parse("98.6 ± 0.4 kPa", "pressure")),
    )  # fmt: skip
    return replace(made, **more)


@pytest.fixture(scope="module")
def assessed():
    return assess(load_run(RUN))


def test_a_portion_of_a_run_keeps_the_joint_draws(assessed):
    feed = feed_of(sheet(FeedEntry(run=RUN, portion="recycle")), 200, RNG)
    portion = next(p for p in assessed.portions if p.decision == "recycle")
    assert feed.components == assessed.components
    assert feed.mass.mean() == pytest.approx(portion.mass, rel=1e-4)
    told = shares(feed)["trichloroethylene"]
    expected = portion.composition["trichloroethylene"]
    assert told.estimate == pytest.approx(expected.estimate, abs=1e-3)
    # errors of one run are shared: the portion is as uncertain as the assessment says, not sqrt(5) times better
    assert told.high - told.low == pytest.approx(expected.high - expected.low, rel=0.25)
    assert (feed.target.component, feed.target.purity) == ("tetrachloroethylene", 0.99)
    assert np.allclose(feed.w.sum(axis=1), 1.0)


def test_the_run_tells_what_its_thermometer_reads(assessed):
    """The demo's thermometer reads 0.45 K low in truth (data/demo_binary/README.md)."""
    plan = sheet(FeedEntry(run=RUN))
    found = scenarios_of(plan, 100)
    assert found.reading.mean() == pytest.approx(-0.45, abs=0.3)
    assert 0.02 < found.reading.std() < 0.3
    own = scenarios_of(replace(plan, thermometer=ThermometerEntry(correction=0.2)), 100)
    assert own.reading.mean() == pytest.approx(-0.2, abs=0.05)
    assert own.reading.std() > 0.4  # 0.6 K by default, nothing being said of it


def test_named_cuts_and_a_part_of_them(assessed):
    feed = feed_of(sheet(FeedEntry(run=RUN, cuts=("C4", "C5"), mass=parse("200 g", "mass"))), 100, RNG)
    assert feed.mass == pytest.approx(np.full(100, 0.2))
    a, b = (assessed.material(name) for name in ("C4", "C5"))
    expected = (a.mass * a.draws.mean(axis=0) + b.mass * b.draws.mean(axis=0)) / (a.mass + b.mass)
    assert feed.w.mean(axis=0) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize(
    "feed, message",
    [
        (FeedEntry(run=RUN, cuts=("C4", "C44"), rows={"cuts": 6}), r"row 6, \[feed\] cuts: found 'C44'; expected a cut of"),
        (FeedEntry(run=RUN, portion="waste", rows={"portion": 7}), r"row 7, \[feed\] portion: found 'waste'"),
        (FeedEntry(run=RUN, mass=parse("5 kg", "mass"), rows={"mass": 5}), "found '5 kg'; expected at most the 857 g"),
        (FeedEntry(run=RUN / "none"), "a file that exists"),
    ],
)  # fmt: skip
def test_what_the_run_does_not_have(feed, message):
    with pytest.raises(InputError, match=message):
        feed_of(sheet(feed), 20, RNG)


def test_a_run_at_odds_is_no_charge(assessed, monkeypatch):
    odd = replace(assessed, flags=(Flag("readings_at_odds", "the readings are at odds"),))
    monkeypatch.setattr("fractionkit.assessment.assess", lambda run: odd)
    with pytest.raises(AtOddsError, match="at odds") as caught:
        feed_of(sheet(FeedEntry(run=RUN)), 20, RNG)
    assert caught.value.exit_code == 1


def test_bottles_of_the_shelf(assessed, tmp_path):
    file = tmp_path / "shelf.db"
    with open_stock(file, create=True) as stock:
        batch = stock.enter(assessed)
        bottles = tuple(stock.fill(f"{batch.name}/{cut}").name for cut in ("C5", "C6"))
    target = TargetEntry("tetrachloroethylene", 0.99, 0.95)
    feed = feed_of(sheet(FeedEntry(bottles=bottles, stock=file), target=target), 100, RNG)
    a, b = (assessed.material(name) for name in ("C5", "C6"))
    assert feed.mass.mean() == pytest.approx(a.mass + b.mass, rel=1e-3)
    expected = (a.mass * a.draws.mean(axis=0) + b.mass * b.draws.mean(axis=0)) / (a.mass + b.mass)
    order = [feed.components.index(name) for name in assessed.components]
    assert feed.w.mean(axis=0)[order] == pytest.approx(expected, abs=3e-3)
    with pytest.raises(InputError, match="B77"):
        feed_of(sheet(FeedEntry(bottles=("B77",), stock=file), target=target), 20, RNG)
    with pytest.raises(InputError, match=r"\[target\]"):
        feed_of(sheet(FeedEntry(bottles=bottles, stock=file)), 20, RNG)


def test_draws_of_a_composition_have_its_spread():
    composition = {"chloroform": parse("30 ± 6 wt%", "fraction"), "trichloroethylene": parse("1 ± 2 wt%", "fraction")}
    entry = FeedEntry(mass=parse("1 ± 0.1 kg", "mass"), composition=composition, rest="tetrachloroethylene")
    names = (*composition, "tetrachloroethylene")
    feed = feed_of(sheet(entry, components=names, target=TargetEntry(names[2], 0.9, 0.95)), 400, RNG)
    assert feed.w[:, 0].mean() == pytest.approx(0.30, abs=1e-3)
    assert feed.w[:, 0].std() == pytest.approx(0.06 / 1.959964, rel=0.03)
    assert feed.w.min() >= 0.0
    # a normal of mean 1 and u 1.02 cut off at 0 has the mean 1 + 1.02 phi(0.98)/Phi(0.98) = 1.30
    assert feed.w[:, 1].mean() == pytest.approx(0.0130, abs=3e-4)
    assert np.allclose(feed.w.sum(axis=1), 1.0)
    assert feed.mass.std() == pytest.approx(0.1 / 1.959964, rel=0.03)
    exact = replace(entry, composition={name: parse("30 wt%", "fraction") for name in composition})
    remarks = feed_of(sheet(exact, components=names, target=TargetEntry(names[2], 0.9, 0.95)), 10, RNG).remarks
    assert "taken as exact" in remarks[0]


def test_stratified_draws_fill_every_slice():
    z = stratified(100, 3, RNG)
    assert z.shape == (100, 3)
    for column in z.T:
        ranks = np.searchsorted(np.sort(column), column)
        assert sorted(ranks) == list(range(100))
        assert abs(column.mean()) < 0.02
        assert column.std() == pytest.approx(1.0, abs=0.05)
    assert truncated(0.5, 0.0, 0.0, 1.0, z[:, 0]) == pytest.approx(np.full(100, 0.5))
