"""A campaign of a real still: what it keeps, when it settles, what gathers, what it refuses."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.planning.campaign import policies as module
from fractionkit.planning.campaign.policies import best_policy, campaign
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.quantities import Estimate
from fractionkit.sheets.still_file import load_still

SHEET = """
[plan]
title = "Two solvents (invented)"
[feed]
mass = "800 g"
composition = { chloroform = "40 ± 3 wt%", tetrachloroethylene = "rest" }
[pressure]
station = "98.6 ± 0.4 kPa"
[target]
component = "chloroform"
purity = "98 wt%"
[still]
heater = "200 W"
pot = "1.2 L"
receivers = 4
[[setup]]
name = "short column"
stages = "6 ± 0.3"
reflux = [4]
[[setup]]
name = "flask"
stages = "1"
"""


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    path = tmp_path_factory.mktemp("still") / "STILL.toml"
    path.write_text(SHEET, encoding="utf-8")
    return load_still(path)


@pytest.fixture(scope="module")
def made(sheet):
    return campaign(sheet, batches=6, setup="short column", reflux=4.0, count=16)


def test_public_names():
    assert module.__all__ == ["BatchRow", "Campaign", "Policy", "campaign", "simulate"]


def test_nothing_carried_is_one_batch_again_and_again(made):
    alone = made.policies[0]
    kept = np.array([row.kept.estimate for row in alone.batches])
    np.testing.assert_allclose(kept, kept[0], rtol=2e-3)
    assert all(row.recycle.estimate == 0.0 for row in alone.batches)
    assert alone.recovery.estimate == pytest.approx(alone.overall.estimate, rel=2e-3)
    assert alone.with_recycle.estimate == pytest.approx(alone.overall.estimate, rel=1e-12)


def test_recycling_wins_what_a_single_batch_leaves(made):
    assert made.chosen.carried > 0
    assert made.chosen.overall.estimate > made.policies[0].overall.estimate + 0.02
    assert any(policy.settled is not None for policy in made.policies if policy.carried)
    assert not made.chosen.gathers
    # what is kept and what stands ready are all that there is of the target besides what is set aside
    for policy in made.policies:
        assert policy.overall.estimate <= policy.with_recycle.estimate <= 1.0 + 1e-9
        assert policy.imbalance < 1e-9


def test_every_kept_cut_meets_the_target(made):
    for policy in made.policies:
        for row in policy.batches:
            if row.kept.estimate > 0.0:
                assert row.meets >= made.confidence
                assert row.assay.estimate >= made.purity


def test_the_pot_is_never_overfilled(made, sheet):
    density = scenarios_of(sheet, 16).mixture.density([0.4, 0.6], 293.15)
    assert made.limit == pytest.approx(1.2e-3 * density * 2.0 / 3.0, rel=0.01)
    for policy in made.policies:
        for row in policy.batches:
            assert row.charge.high <= made.limit * (1.0 + 1e-9)


def test_a_pot_too_small_for_the_feed_takes_less_of_it(sheet):
    small = replace(sheet, still=replace(sheet.still, pot=6.5e-4))
    run = campaign(small, batches=1, carried=0, setup="short column", reflux=4.0, count=12)
    assert [flag.code for flag in run.flags] == ["pot_full"]
    assert run.chosen.batches[0].charge.estimate == pytest.approx(run.limit)
    assert run.chosen.batches[0].fresh.estimate < 0.8


def test_words_say_what_the_figures_say(made):
    text = " ".join(made.text)
    assert f"over {len(made.chosen.batches)} batches" in text
    settled = made.chosen.settled
    assert ("has not settled" if settled is None else f"settled by batch {settled}") in text
    assert "chloroform" in text
    assert "With nothing carried it is" in text


def test_a_light_impurity_that_is_carried_whole_gathers(sheet):
    """Heavy target, both other cuts and the residue carried: chloroform has no way out but traces in the kept cut."""
    heavy = replace(sheet, target=replace(sheet.target, component="tetrachloroethylene", purity=0.95))
    run = campaign(heavy, batches=4, carried=3, setup="short column", reflux=4.0, count=12, carry_residue=True)
    last = run.policies[3]
    assert "chloroform" in last.gathers
    assert last.settled is None
    assert last.leaves["chloroform"].estimate < 0.5
    assert any("hloroform" in remark for remark in last.remarks)
    assert run.policies[3].in_pot.estimate == 0.0
    assert run.best != 3


def test_the_set_up_is_the_one_that_the_plan_ranks_first(sheet):
    run = campaign(sheet, batches=1, carried=0, count=12)
    assert (run.setup, run.reflux) == ("short column", 4.0)


def test_one_pass_of_a_flask_never_reaches_it(sheet):
    run = campaign(sheet, batches=2, setup="flask", reflux=0.0, count=12)
    assert run.chosen.carried == 0
    assert run.chosen.overall.estimate == 0.0
    assert "No batch of this campaign gives a cut of 98 wt% chloroform" in run.text[0]


def test_best_policy_leaves_out_what_gathers():
    def policy(carried, value, gathers=()):
        return SimpleNamespace(carried=carried, gathers=gathers, overall=Estimate(value, value, value))

    assert best_policy((policy(0, 0.5), policy(1, 0.7), policy(2, 0.9, ("chloroform",)))) == 1
    assert best_policy((policy(0, 0.5), policy(1, 0.7), policy(2, 0.701))) == 1  # not worth one cut more
    assert best_policy((policy(0, 0.5), policy(1, 0.4), policy(2, 0.8))) == 2
    assert best_policy((policy(0, 0.0), policy(1, 0.4, ("chloroform",)))) == 1  # all there is


@pytest.mark.parametrize(
    "change, message",
    [
        ({"batches": 0}, "1 to 1000 batches"),
        ({"batches": 5000}, "1 to 1000 batches"),
        ({"carried": -1}, "0 or more cuts"),
        ({"setup": "tall column"}, "a set-up of the sheet: short column, flask"),
        ({"reflux": -2.0}, "a reflux ratio from 0"),
        ({"reflux": float("nan")}, "a reflux ratio from 0"),
    ],
)
def test_bad_input(sheet, change, message):
    arguments = {"batches": 2, "setup": "short column", "reflux": 2.0, "count": 12} | change
    with pytest.raises(InputError, match=message):
        campaign(sheet, **arguments)


def test_a_wet_feed_is_to_be_parted_first(tmp_path):
    wet = SHEET.replace("tetrachloroethylene", "water").replace("40 ± 3", "90 ± 1")
    (tmp_path / "STILL.toml").write_text(wet, encoding="utf-8")
    with pytest.raises(InputError, match="one liquid"):
        campaign(load_still(tmp_path), batches=2, setup="short column", reflux=4.0, count=12)


def test_a_hold_up_that_takes_the_charge(sheet):
    thirsty = replace(sheet.setups[0], holdup=replace(sheet.setups[0].stages, value=2e-3, u=None))
    with pytest.raises(InputError, match="hold"):
        campaign(replace(sheet, setups=(thirsty,)), batches=2, setup="short column", reflux=4.0, count=12)
