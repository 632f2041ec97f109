"""A run in the logbook: the balance, compositions with their correlation, charges out of bottles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.errors import AtOddsError, InputError
from fractionkit.lots import together
from fractionkit.quantities import Estimate, Flag, parse
from fractionkit.stock import open_stock
from fractionkit.stock.campaign import campaign
from fractionkit.stock.composition import DRAWS, typed
from tests.stock.book import BINARY, HEAVY, MASSES, RESIDUE, assessment, bought


@pytest.fixture
def stock(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as opened:
        yield opened


def test_what_came_out_stands_and_what_is_missing_is_lost(stock):
    batch = stock.enter(assessment())
    assert batch.name == "R1"
    standing = {held.name: held.mass for held in stock.holdings()}
    assert standing == pytest.approx({f"R1/C{k + 1}": m for k, m in enumerate(MASSES)} | {"R1/residue": RESIDUE})
    found = campaign(stock.ledger)
    assert found.loss == pytest.approx(1.4 - sum(MASSES) - RESIDUE, abs=1e-12)  # charge - cuts - residue
    assert (found.fresh, found.recycled, found.found) == (pytest.approx(1.4), 0.0, 0.0)


def test_more_out_than_in_was_found_by_weighing(stock):
    stock.enter(assessment(charge=1.36))
    found = campaign(stock.ledger)
    assert found.runs[0].loss == pytest.approx(1.36 - sum(MASSES) - RESIDUE)  # -10 g
    assert stock.prove().holds


def test_without_a_charge_it_is_what_came_out(stock):
    stock.enter(assessment(charge=None))
    assert campaign(stock.ledger).fresh == pytest.approx(sum(MASSES) + RESIDUE)


def test_draws_of_one_run_keep_what_they_share(stock):
    run = assessment()
    stock.enter(run)
    cuts = stock.materials(["C2", "C3"])
    joint = together(cuts, BINARY, DRAWS)
    mine = np.corrcoef(joint[:, 0, 1], joint[:, 1, 1])[0, 1]
    true = np.corrcoef(run.draws[:, 1, 1], run.draws[:, 2, 1])[0, 1]
    assert true > 0.1
    assert mine == pytest.approx(true, abs=0.1)  # 512 of 1024 draws: standard error of a correlation below 0.044
    assert joint[:, 1, 1].mean() == pytest.approx(HEAVY[2], abs=0.002)


def test_draws_of_two_runs_are_no_more_than_chance(stock):
    stock.enter(assessment("one"))
    stock.enter(assessment("two"))  # the same draws, so that only the shuffling parts them
    first, second = stock.materials(["R1/C3", "R2/C3"])
    assert abs(np.corrcoef(first.draws[:, 1], second.draws[:, 1])[0, 1]) < 0.15  # 3.4 standard errors of 512 pairs
    assert first.origin == second.origin


def test_a_charge_out_of_bottles_is_taken_from_them_and_the_rest_from_outside(stock):
    stock.enter(assessment("one"))
    stock.enter(assessment("two"), [("C1", None), ("C2", 0.1)])
    found = campaign(stock.ledger)
    assert found.recycled == pytest.approx(0.4 + 0.1)
    assert found.runs[1].fresh == pytest.approx(1.4 - 0.5)
    assert stock.holding("R1/C1").mass == 0.0
    assert stock.holding("R1/C2").mass == pytest.approx(0.15)
    parts = found.in_lots + found.left + found.to_keep + found.standing + found.waste + found.loss
    assert found.fresh + found.found == pytest.approx(parts, abs=1e-12)


def test_what_comes_from_outside_is_what_came_out_less_what_the_bottles_brought(stock):
    stock.enter(assessment("one"))
    stock.enter(assessment("two"), [("C1", None)])
    proof = stock.prove()
    assert proof.holds
    for part in proof.components:  # 1.0 kg from outside makes up the balance of each component, in the mean
        assert abs(part.restated.estimate) < 1e-4


def test_bottles_that_hold_more_than_the_charge_are_refused(stock):
    stock.enter(assessment("one"))
    with pytest.raises(InputError, match="say how much of each went in, like B3=700g"):
        stock.enter(assessment("two", charge=0.3, masses=(0.05, 0.05, 0.05, 0.05)), [("C1", None)])
    stock.enter(assessment("three", charge=0.395, masses=(0.08, 0.08, 0.08, 0.08)), [("C1", None)])  # 5 g spilt
    assert campaign(stock.ledger).runs[1].fresh == 0.0


def test_the_same_run_is_entered_once(stock):
    stock.enter(assessment())
    with pytest.raises(InputError, match=r"this is R1, entry 2"):
        stock.enter(assessment())
    stock.undo()
    assert stock.enter(assessment()).name == "R2"  # numbers are never given twice


def corrected(factor=0.5, **changes):
    """The same run, of which a later test says that its cuts hold less of the light component."""
    run = assessment(**changes)
    draws = run.draws.copy()
    draws[..., 0] *= factor
    draws[..., 1] = 1 - draws[..., 0]
    cuts = tuple(
        replace(
            cut,
            decision="keep",
            composition={
                name: Estimate(*(float(f(draws[:, k, i])) for f in (np.mean, np.min, np.max)))
                for i, name in enumerate(BINARY)
            },
        )
        for k, cut in enumerate(run.cuts)
    )
    return replace(run, draws=draws, cuts=cuts)


def test_a_run_assessed_anew_changes_compositions_wherever_its_cuts_are(stock):
    stock.enter(assessment())
    stock.fill("C2", 0.1)
    stock.pour("C1", "B1", 0.1)
    before = {held.name: held for held in stock.holdings()}
    light = before["B1"].composition[BINARY[0]].estimate
    assert stock.revise(corrected()).name == "R1"
    after = {held.name: held for held in stock.holdings()}
    assert after["B1"].composition[BINARY[0]].estimate == pytest.approx(light / 2, rel=0.01)
    assert {name: held.mass for name, held in after.items()} == {name: held.mass for name, held in before.items()}
    assert (before["R1/C2"].decision, after["R1/C2"].decision) == ("recycle", "keep")
    assert stock.prove().holds
    with open_stock(stock.path, write=False) as again:
        assert again.holding("B1").composition == after["B1"].composition
    stock.undo()
    assert stock.holding("B1").composition == before["B1"].composition
    assert stock.holding("R1/C2").decision == "recycle"


def test_a_run_assessed_anew_with_its_charge_out_of_bottles_still_closes(stock):
    stock.enter(assessment("one"))
    stock.enter(assessment("two"), [("C1", None)])
    with pytest.raises(InputError, match="a run that is in the logbook"):
        stock.revise(corrected(title="three"), "R9")
    assert stock.revise(corrected(0.9, title="two"), "R2").name == "R2"
    proof = stock.prove()
    assert proof.holds
    for part in proof.components:  # what came from outside makes up the difference again, in the mean
        assert abs(part.restated.estimate) < 1e-4


def test_a_run_weighed_anew_is_no_revision(stock):
    stock.enter(assessment())
    with pytest.raises(InputError, match=r"R1/C1 400\.0 g then, 401\.0 g now\): undo entry 2 and enter the run again"):
        stock.revise(assessment(masses=(0.401, *MASSES[1:])))
    with pytest.raises(InputError, match="R1/residue"):
        stock.revise(assessment(residue=False))
    assert len(stock.ledger.entries) == 2


def test_runs_that_cannot_be_booked_are_refused(stock):
    with pytest.raises(InputError, match=r"a mass of every cut \(C2\)"):
        stock.enter(assessment(masses=(0.4, None, 0.3, 0.35)))
    odd = replace(assessment(), flags=(Flag("readings_at_odds", "They are."),))
    with pytest.raises(AtOddsError):
        stock.enter(odd)
    assert len(stock.ledger.entries) == 1


def test_names_of_runs_are_kept_for_runs(stock):
    for name in ("R2", "r-2", "R2/C1"):
        with pytest.raises(InputError, match="unlike those of runs"):
            stock.receive(0.1, bought(), name)
    stock.receive(0.1, bought(), "R2026-05")
    stock.receive(0.1, bought(), "R1-")  # the same as R1 when it is looked for
    assert [stock.enter(assessment(title)).name for title in ("one", "two")] == ["R2", "R3"]
    assert stock.prove().holds


def test_names_of_cuts_may_be_anything_and_a_cut_may_be_called_residue(stock):
    stock.enter(assessment(names=("residue", "charge", "loss", "=1+1 🧪")))
    names = {held.name for held in stock.holdings()}
    assert names == {"R1/residue", "R1/charge", "R1/loss", "R1/=1+1 🧪", "R1/residue of the pot"}
    assert stock.prove().holds
    assert campaign(stock.ledger).to_keep == pytest.approx(MASSES[3])


def test_a_residue_of_which_nothing_is_known_may_be_anything(stock):
    stock.enter(replace(assessment(), residue_draws=None))
    held = stock.holding("R1/residue").composition[BINARY[0]]
    assert held.low < 0.03  # uniform on 0 to 1: a 95 % interval is 0.95 long
    assert 0.92 < held.high - held.low <= 1.0  # and its ends so near the edges are taken to them


def test_what_a_person_types_of_a_composition():
    known = typed({"chloroform": parse("60 ± 8 wt%", "fraction"), "acetone": None}, 3)
    made = known.composition["chloroform"]
    assert made.estimate == pytest.approx(0.60, abs=0.005)
    assert (made.low, made.high) == (pytest.approx(0.52, abs=0.012), pytest.approx(0.68, abs=0.012))
    assert known.draws.sum(axis=1) == pytest.approx(np.ones(DRAWS))
    assert typed({"acetone": None}, 1).composition["acetone"].estimate == pytest.approx(1.0)
    for shares in (
        {"chloroform": None, "acetone": None},
        {"chloroform": parse("60 wt%", "fraction"), "acetone": parse("60 wt%", "fraction")},
        {"chloroform": parse("60 wt%", "fraction"), "acetone": parse("30 wt%", "fraction")},
    ):
        with pytest.raises(InputError, match="add to 100 wt%"):
            typed(shares, 1)
