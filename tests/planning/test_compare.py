"""Set-ups compared: against other calculations, against conservation, and against simulated truths."""

from __future__ import annotations

import warnings
from dataclasses import fields, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from thermo import VaporPressure

from fractionkit.errors import InputError
from fractionkit.planning.compare import compare as compared
from fractionkit.planning.compare import rank_trials
from fractionkit.planning.running_costs import USUAL_STARTUP, WATER_HEAT
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.planning.setups import built_in, setups_of
from fractionkit.planning.trial import Wish, distilled, run_trials
from fractionkit.quantities import parse
from fractionkit.sheets.model import PressureEntry, TargetEntry, ThermometerEntry
from fractionkit.sheets.still_model import FeedEntry, SetupEntry, StillEntry, StillSheet

NAMES = ("trichloroethylene", "tetrachloroethylene")


def compare(plan, count=40, **options):
    """Fewer scenarios than usual, for speed."""
    return compared(plan, count=count, **options)


def q(text, kind):
    return parse(text, kind)


def setup(stages, *reflux, holdup="0 mL", throughput="20 mL/min", name=None):
    return SetupEntry(
        name=name or f"{stages} stages",
        stages=q(stages, "number"),
        holdup=q(holdup, "volume"),
        throughput=None if throughput is None else q(throughput, "flow"),
        reflux=tuple(float(r) for r in reflux) or (3.0,),
        rows={"": 20},
    )


def sheet(*setups, purity=0.95, target=NAMES[0], share="50 ± 2 wt%", mass="900 g", names=NAMES, others=(), **still):
    composition = {
        names[0]: q(share, "fraction"),
        **{n: q(s, "fraction") for n, s in zip(names[1:-1], others, strict=True)},
    }
    return StillSheet(
        source=Path("STILL.toml"),
        title="A plan",
        date=None,
        components=tuple(names),
        feed=FeedEntry(mass=q(mass, "mass"), composition=composition, rest=names[-1]),
        pressure=PressureEntry(station=q("98.6 ± 0.4 kPa", "pressure")),
        thermometer=ThermometerEntry(bias=0.4),
        target=TargetEntry(target, purity, 0.95),
        still=StillEntry(heater=q("200 W", "power"), **still),
        setups=tuple(setups),
    )


# -- against other calculations ------------------------------------------------------------------------------------


@lru_cache
def rayleigh(pressure, last=0.9):
    """Rayleigh's equation for 900 g of 50 wt%, by scipy: thermo's Wagner vapour pressures (McGarry 1983), ideal solution.

    Returns kg over (K,), kg of each component in it (K, 2), and the temperature of the vapour (K,).
    """
    with warnings.catch_warnings():
        # pandas warns of the way in which thermo reads its tables
        warnings.simplefilter("ignore")
        equations = [VaporPressure(CASRN=cas) for cas in ("79-01-6", "127-18-4")]
    for equation in equations:
        equation.method = "WAGNER_MCGARRY"
    M = np.array([131.388e-3, 165.833e-3])

    def boil(x):
        T = brentq(lambda t: sum(x[k] * equations[k](t) for k in range(2)) - pressure, 330.0, 420.0)
        return T, np.array([x[k] * equations[k](T) for k in range(2)]) / pressure

    n0 = np.array([0.45, 0.45]) / M
    D = np.linspace(0.0, last * n0.sum(), 200)
    solved = solve_ivp(lambda _, n: -boil(n / n.sum())[1], (0.0, D[-1]), n0, t_eval=D, rtol=1e-7, atol=1e-9)
    over = (n0[:, None] - solved.y).T * M
    return over.sum(axis=1), over, np.array([boil(n / n.sum())[0] for n in solved.y.T])


def test_the_still_head_is_rayleigh_with_other_thermodynamics():
    plan = compare(replace(sheet(setup("1", 0), purity=0.65, share="50 wt%"), thermometer=ThermometerEntry(bias=0.01)))
    cuts = plan.trials[0].cuts
    mass, over, head = rayleigh(98600.0)
    assert cuts.heart is not None
    before = 0.0
    for receiver in cuts.receivers[:-1]:
        after = before + float(np.median(receiver.mass))
        held = [np.interp([before, after], mass, over[:, k]) for k in range(2)]
        share = np.diff(held[0])[0] / sum(np.diff(part)[0] for part in held)
        # the two differ by activity (mixture: NRTL; here: none) and by vapour pressures of other sources
        assert np.median(receiver.w[:, 0]) == pytest.approx(share, abs=0.012)
        assert np.median(receiver.head_end) == pytest.approx(np.interp(after, mass, head), abs=0.6)
        before = after


def test_kept_mass_of_the_still_head_is_just_below_what_is_there():
    """What a forerun of 65 wt% can be at most, by the same other calculation; guarded, so that a little less is kept."""
    plan = compare(sheet(setup("1", 0), purity=0.65, share="50 wt%"))
    mass, over, _ = rayleigh(98600.0)
    most = np.interp(-0.65, -over[1:, 0] / mass[1:], mass[1:])
    assert plan.trials[0].cuts.heart == 0
    assert 0.75 * most < plan.trials[0].mean_kept < most


def test_holdup_that_vanishes_is_no_holdup():
    held = {"none": "0 mL", "drop": "0.01 mL", "much": "60 mL"}
    setups = [setup("5", 3, holdup=amount, name=name) for name, amount in held.items()]
    kept = {t.setup.name: t.mean_kept for t in compare(sheet(*setups, target=NAMES[1])).trials}
    assert kept["drop"] == pytest.approx(kept["none"], rel=2e-3)
    assert kept["much"] < 0.98 * kept["none"]


def test_mass_closes_in_every_scenario():
    plan = compare(
        sheet(
            setup("4 ± 1", 1, 4, holdup="20 ± 8 mL"),
            names=("chloroform", *NAMES),
            others=["30 ± 2 wt%"],
            target=NAMES[0],
        )
    )
    scenarios = scenarios_of(
        sheet(setup("1"), names=("chloroform", *NAMES), others=["30 ± 2 wt%"], target=NAMES[0]), 40
    )
    for trial in plan.trials:
        cuts = trial.cuts
        together = sum(receiver.mass for receiver in cuts.receivers) + cuts.rest
        np.testing.assert_allclose(together, scenarios.feed.mass, rtol=1e-9)
        for place in range(3):
            over = sum(receiver.mass * receiver.w[:, place] for receiver in cuts.receivers)
            assert np.all(over <= scenarios.feed.mass * scenarios.feed.w[:, place] * (1 + 1e-9))
        assert np.all(
            np.abs(cuts.recovery * scenarios.feed.mass * scenarios.feed.w[:, 1] - cuts.kept * cuts.assay) < 1e-12
        )


def test_time_heat_and_water_add_up():
    """A still head: what is boiled up is what comes over, so heat = moles x latent heats; time = heat / power."""
    wish = sheet(setup("1", 0, throughput=None), purity=0.6, share="50 wt%", cooling_rise=5.0)
    trial = compare(wish).trials[0]
    cuts, costs = trial.cuts, trial.costs
    # heats of vaporization at the boiling points, CRC Handbook: 31.40 and 34.68 kJ/mol
    heart = cuts.receivers[cuts.heart]
    moles = np.median(heart.mass[:, None] * heart.w, axis=0) / np.array([131.388e-3, 165.833e-3])
    heat = float(moles @ [31.40e3, 34.68e3]) + 200.0 * USUAL_STARTUP[False]
    assert costs.heat.estimate == pytest.approx(heat, rel=0.02)
    assert costs.time.estimate == pytest.approx(costs.heat.estimate / 200.0, rel=1e-9)
    assert costs.coolant.estimate == pytest.approx(costs.heat.estimate / (WATER_HEAT * 5.0), rel=1e-9)
    # 4.18 kJ/kg/K (from memory): 1 MJ warms 48 L by 5 K
    assert 1e3 * costs.coolant.estimate == pytest.approx(48.0 * costs.heat.estimate / 1e6, rel=0.01)


def test_a_narrow_column_sets_the_pace():
    slow, free = compare(sheet(setup("4", 3, throughput="2 mL/min", name="narrow"), setup("4", 3, name="wide"))).trials
    if slow.setup.name != "narrow":
        slow, free = free, slow
    assert slow.mean_kept == pytest.approx(free.mean_kept, rel=1e-6)
    # boiling liquid at 2 mL/min, four times what comes over at reflux 3: kept volume x 4 / 2 mL/min
    volume = 1e6 * slow.mean_kept / 1.35e3  # kg/m3, trichloroethylene near its boiling point, from memory
    assert slow.costs.time.estimate - USUAL_STARTUP[True] == pytest.approx(60.0 * volume * 4 / 2, rel=0.08)
    assert free.costs.time.estimate < 0.5 * slow.costs.time.estimate


def test_the_longest_time_ends_the_distillation():
    short = compare(sheet(setup("4", 5), longest=2 * 3600.0)).trials[0]
    assert short.costs.whole_time.high <= 2 * 3600.0 * 1.001
    late = compare(sheet(setup("4", 5), target=NAMES[1], longest=1.2 * 3600.0)).trials[0]
    assert "within 1.2 h: it comes later" in late.impossible
    none = compare(sheet(setup("4", 5), longest=600.0)).trials[0]
    assert "over before the first drop" in none.impossible


# -- honesty -------------------------------------------------------------------------------------------------------


def test_intervals_cover_truths_drawn_from_what_is_not_known():
    """Truths of their own seed, distilled and cut as the plan says: kept masses, head readings and purity."""
    mine = sheet(setup("5 ± 1", 4, holdup="20 ± 8 mL"), target=NAMES[1], purity=0.97)
    trial = compare(mine, count=200).trials[0]
    cuts = trial.cuts
    heart = cuts.receivers[cuts.heart]
    truth = scenarios_of(mine, 200, seed=7)
    made = distilled(truth, [Wish(trial.setup, trial.reflux)], mine.still)[0]
    kept, assay, starts = (np.empty(200) for _ in range(3))
    for s in range(200):
        over = made.distilled_mass[s]
        read = np.maximum.accumulate(made.head_temperature[s]) + truth.reading[s]

        def at(mark, over=over, read=read):
            if np.isinf(mark):
                return 0.0 if mark < 0 else over[-1]
            return np.interp(mark, read, over) if cuts.by == "head" else min(mark, over[-1])

        a, b = at(heart.start), at(heart.end)
        target = made.distillate_amounts[s, :, 1] * made.molar_mass[1]
        kept[s] = b - a
        assay[s] = (np.interp(b, over, target) - np.interp(a, over, target)) / max(b - a, 1e-9)
        starts[s] = np.interp(a, over, read)
    inside = (kept >= trial.kept.low) & (kept <= trial.kept.high)
    assert 0.90 <= inside.mean() <= 0.99
    low, high = np.quantile(heart.head_start, [0.025, 0.975])
    assert ((starts >= low - 0.05) & (starts <= high + 0.05)).mean() >= 0.90
    # guarded: the plan promises 95 %; 200 draws leave 1.5 % to chance
    assert (assay >= 0.97).mean() >= 0.935


def test_a_better_known_feed_keeps_more():
    vague = compare(sheet(setup("7", 5), share="50 ± 6 wt%", purity=0.97)).trials[0]
    exact = compare(sheet(setup("7", 5), share="50 ± 0.1 wt%", purity=0.97)).trials[0]
    assert exact.mean_kept > vague.mean_kept
    assert vague.cuts.probability >= 0.95


def test_the_thermometer_moves_what_will_be_read_and_nothing_else():
    plain = compare(replace(sheet(setup("4", 3)), thermometer=ThermometerEntry(bias=0.05))).trials[0]
    moved = compare(replace(sheet(setup("4", 3)), thermometer=ThermometerEntry(bias=0.05, correction=0.7))).trials[0]
    # a correction of +0.7 K is for a thermometer that reads 0.7 K low
    change = np.median(moved.cuts.receivers[0].head_start) - np.median(plain.cuts.receivers[0].head_start)
    assert change == pytest.approx(-0.7, abs=0.01)
    assert moved.mean_kept == pytest.approx(plain.mean_kept, rel=1e-3)


def test_pressure_moves_the_head():
    """2 kPa near 98.6 kPa: about 0.6 K for these solvents (slope 0.3 K/kPa near boiling, common practice, no source)."""
    low = compare(sheet(setup("4", 3))).trials[0]
    high = compare(
        replace(sheet(setup("4", 3)), pressure=PressureEntry(station=q("100.6 ± 0.4 kPa", "pressure")))
    ).trials[0]
    change = np.median(high.cuts.receivers[0].head_start) - np.median(low.cuts.receivers[0].head_start)
    assert change == pytest.approx(0.65, abs=0.15)


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
    assert compare(other_side).best is not None
    assert any(flag.code == "azeotrope" for flag in compare(other_side).flags)


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
