"""Set-ups compared: rank, the built-in table, what cannot be, and work shared between processes."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import pytest

from fractionkit.errors import ConvergenceError, InputError
from fractionkit.planning.compare import rank_trials
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.planning.setups import built_in, setups_of
from fractionkit.planning.trial import Wish, distilled, run_trials
from fractionkit.sheets.model import TargetEntry
from fractionkit.sheets.still_model import SetupEntry, StillEntry
from tests.planning.plans import NAMES, compare, q, setup, sheet

# -- rank, built-in table, impossibilities ---------------------------------------------------------------------------


def test_rank():
    setups = [setup("2", 1, name="quick"), setup("8", 8, name="thorough")]
    by_mass = compare(sheet(*setups, purity=0.98))
    assert by_mass.best.setup.name == "thorough"
    by_hour = compare(replace(sheet(*setups, purity=0.8), rank="kept mass per hour"))
    rate = [t.mean_kept / t.costs.time.estimate for t in by_hour.trials]
    assert rate == sorted(rate, reverse=True)
    by_heat = compare(replace(sheet(*setups, purity=0.8), rank="heat"))
    heat = [t.costs.heat.estimate / t.mean_kept for t in by_heat.trials]
    assert heat == sorted(heat)


def test_rank_by_the_hour_needs_a_pace():
    silent = replace(sheet(setup("4", 3, throughput=None)), still=StillEntry(), rank="kept mass per hour")
    with pytest.raises(InputError, match="how fast it boils"):
        compare(silent)
    assert compare(replace(silent, rank="kept mass")).trials[0].costs.time is None


def test_the_built_in_table_is_compared_when_no_set_up_is_named():
    assert [s.name for s in setups_of(sheet())] == [s.name for s in built_in().values()]
    assert len(built_in()) == 7
    for key, made in built_in().items():
        assert made.stages >= 1.0, key
        assert made.stages_u < 0.25 * made.stages
        assert made.source
        assert "from memory" in made.source or "common practice" in made.source
        one = setups_of(sheet(SetupEntry(column=made.name)))[0]
        assert (one.stages, one.reflux) == (made.stages, made.reflux)


def test_a_column_of_the_table_with_ones_own_figures():
    entry = SetupEntry(column="Vigreux 40", stages=q("5.2 ± 0.4", "number"), reflux=(2.0,))
    made = setups_of(sheet(entry))[0]
    assert (made.stages, made.reflux, made.name) == (5.2, (2.0,), "Vigreux 40 cm")
    assert made.holdup == built_in()["vigreux-40"].holdup
    assert "stages: the sheet" in made.source


def test_the_still_of_a_run_as_a_set_up():
    """The truth of the demo stands in data/demo_column/README.md."""
    folder = Path(__file__).resolve().parents[2] / "data" / "demo_column"
    told = re.search(r"(\d+(?:\.\d+)?) theoretical stages", (folder / "README.md").read_text(encoding="utf-8"))
    made = setups_of(sheet(SetupEntry(run=folder, name="mine", reflux=(2.0,))))[0]
    assert abs(made.stages - float(told[1])) < 2.5 * made.stages_u
    assert (made.name, made.reflux) == ("mine", (2.0,))
    assert "from the run" in made.source
    assert made.holdup > 0.0


def test_unknown_column_and_equal_names():
    wrong = SetupEntry(column="vigreaux", rows={"column": 31})
    with pytest.raises(
        InputError, match=r"row 31, \[\[setup\]\] column: found 'vigreaux'; expected a built-in column: still head"
    ):
        setups_of(sheet(wrong))
    with pytest.raises(InputError, match="stands for two"):
        setups_of(sheet(SetupEntry(column="still head"), SetupEntry(column="still head")))


def test_impossible_with_so_few_stages_at_any_reflux():
    """Fenske: three stages lift 50 wt% to 1/(1 + (1-x)/x / alpha^3) at best while the pot holds its feed."""
    plan = compare(sheet(setup("3", 1, 50), setup("20", 10), purity=0.999))
    three = [trial for trial in plan.trials if trial.setup.stages == 3.0]
    assert all("no cut of 99.9 wt% with 3 stages at any reflux" in trial.impossible for trial in three)
    x, alpha = 0.5579, 2.70  # 50 wt% in moles; the mixture's volatility near there, 2.6 to 2.8 with any source
    fenske = 1.0 / (1.0 + (1.0 - x) / x / alpha**3)
    mass = fenske * 131.388 / (fenske * 131.388 + (1.0 - fenske) * 165.833)
    assert three[0].limit == pytest.approx(mass, abs=0.01)
    assert plan.best.setup.stages == 20.0
    assert plan.trials[-1].setup.stages == 3.0


def test_no_setup_reaches_it_is_an_answer():
    plan = compare(sheet(setup("2", 3), purity=0.995))
    assert plan.best is None
    assert [flag.code for flag in plan.flags].count("no_setup") == 1


def test_an_azeotrope_in_the_way_is_named():
    """Chloroform and methanol: azeotrope near 53.4 °C and 87 wt% chloroform at 101.3 kPa (Gmehling; Lange's Handbook)."""
    rich_in_methanol = sheet(
        setup("10", 5), names=("chloroform", "methanol"), share="60 ± 2 wt%", target="chloroform", purity=0.95
    )
    with pytest.raises(InputError) as caught:
        compare(rich_in_methanol)
    text = str(caught.value)
    assert "chloroform and methanol form an azeotrope" in text
    limit = float(text.split("at most ")[1].split(" wt%")[0])
    assert limit == pytest.approx(87.0, abs=1.5)
    other_side = replace(rich_in_methanol, target=TargetEntry("methanol", 0.95, 0.95))
    plan = compare(other_side)
    assert plan.best is not None
    assert any(flag.code == "azeotrope" for flag in plan.flags)


def test_a_target_beyond_an_azeotrope_is_refused_before_anything_is_distilled(monkeypatch):
    """Dichloromethane and methanol at 101.3 kPa: 37.8 °C and 92.7 wt% dichloromethane (Horsley, Azeotropic Data; from memory,
    `data/checks/azeotropes.csv`); the model lies within 2 wt% of it."""

    def fails(*given, **named):
        raise AssertionError("distilled")

    monkeypatch.setattr("fractionkit.planning.trial.distil", fails)
    monkeypatch.setattr("fractionkit.planning.reach.distil", fails)
    stripper = sheet(
        setup("6", 3), names=("dichloromethane", "methanol"), share="85 ± 3 wt%", target="dichloromethane", purity=0.99
    )
    with pytest.raises(InputError, match="dichloromethane and methanol form an azeotrope") as caught:
        compare(stripper)
    limit = float(str(caught.value).split("at most ")[1].split(" wt%")[0])
    assert limit == pytest.approx(92.7, abs=2.0)


def test_a_profile_that_is_not_found_ends_no_plan(monkeypatch):
    def fails(*given, **named):
        raise ConvergenceError("no profile")

    monkeypatch.setattr("fractionkit.planning.reach.distil", fails)
    plan = compare(sheet(setup("2", 3), purity=0.995), count=10)
    assert plan.best is None
    assert "at most" in plan.trials[0].impossible


@pytest.mark.parametrize("names", [("chloroform", "water"), ("dichloromethane", "methanol", "water")])
def test_a_wet_charge_is_refused(names):
    wet = sheet(setup("4", 3), names=names, share="80 ± 1 wt%", others=["15 wt%"][: len(names) - 2], target=names[0])
    with pytest.raises(InputError, match=f"{names[0]} and water boil as two .* part and dry it first"):
        compare(wet)


@pytest.mark.parametrize(
    "change, message",
    [
        (lambda s: replace(s, still=replace(s.still, pot=400e-6)), r"\[still\] pot: found '0.4 L'"),
        (lambda s: replace(s, still=replace(s.still, heel=2e-3)), r"\[still\] heel: found '2000 mL'"),
        (lambda s: replace(s, setups=(setup("4", 3, holdup="800 mL"),)), r"row 20, \[\[setup\]\] holdup \(4 stages\)"),
        (lambda s: replace(s, feed=replace(s.feed, composition={NAMES[0]: q("0 wt%", "fraction")})), "it holds no trichlor"),
        (lambda s: replace(s, target=TargetEntry("chloroform", 0.9, 0.95)), "one of the feed's components"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(change, message):
    with pytest.raises(InputError, match=message):
        compare(change(sheet(setup("4", 3))))


def test_a_full_pot_and_warm_water_are_warned_of():
    plan = compare(sheet(setup("4", 3), pot=800e-6, cooling_in=338.15, cooling_rise=8.0))
    codes = [flag.code for flag in plan.flags]
    assert "pot_full" in codes
    assert "warm_water" in codes


def test_a_holdup_of_the_table_above_the_charge_is_told_in_its_row():
    plan = compare(sheet(SetupEntry(column="rings 30"), SetupEntry(column="spinning band 30"), mass="45 g"))
    rings = next(trial for trial in plan.trials if trial.setup.name == "rings 30 cm")
    assert "nothing would come over" in rings.impossible
    assert rings.cuts is None


def test_processes_give_the_same_plan():
    many = sheet(*(setup(f"{2 + k}", 1, 2, 4, 6) for k in range(4)), purity=0.9)
    told = []
    one = compare(many, count=20, progress=lambda done, total: told.append((done, total)))
    two = compare(many, count=20, processes=2)
    assert told[-1] == (16, 16)
    assert [(t.setup.name, t.reflux, t.mean_kept) for t in one.trials] == [
        (t.setup.name, t.reflux, t.mean_kept) for t in two.trials
    ]


def test_trials_together_are_what_each_is_alone():
    mine = sheet(setup("3 ± 1", 2, name="a"), setup("6 ± 1", 4, name="b"))
    scenarios = scenarios_of(mine, 30)
    wishes = [Wish(made, made.reflux[0]) for made in setups_of(mine)]
    for alone, together in zip(
        (run_trials(scenarios, [w], mine.still)[0] for w in wishes),
        run_trials(scenarios, wishes, mine.still),
        strict=True,
    ):
        assert together.mean_kept == pytest.approx(alone.mean_kept, rel=1e-6)


def test_frozen_results():
    plan = compare(sheet(setup("3", 2)), count=10)
    assert rank_trials(plan.trials, plan.rank, sheet()) == plan.trials
    assert {f.name for f in fields(plan)} >= {"trials", "flags", "cautions", "feed"}


@pytest.mark.parametrize(
    "made",
    [setup("60 ± 5", 50), setup("60 ± 5", 50, holdup="20 ± 8 mL"), setup("40", 1000), setup("6", 0), setup("100", 5)],
)
def test_columns_of_any_size_are_followed(made):
    trial = compare(sheet(made), count=8).trials[0]
    assert "cannot be computed" not in trial.impossible
    assert trial.reaches or "at most" in trial.impossible


def test_a_set_up_that_cannot_be_computed_does_not_stop_the_others(monkeypatch):
    def fails(scenarios, wishes, still):
        if any(wish.setup.name == "odd" for wish in wishes):
            raise ConvergenceError("no end of it")
        return distilled(scenarios, wishes, still)

    monkeypatch.setattr("fractionkit.planning.trial.distilled", fails)
    plan = compare(sheet(setup("4", 3, name="even"), setup("4", 3, name="odd"), purity=0.8), count=10)
    assert [trial.setup.name for trial in plan.trials] == ["even", "odd"]
    assert plan.trials[1].impossible == "this set-up cannot be computed: no end of it"
