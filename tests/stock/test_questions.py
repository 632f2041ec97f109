"""What is in this bottle, where did that cut go, the yield, what needs looking after, the next charge."""

from __future__ import annotations

import datetime
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.sheets import load_run
from fractionkit.sheets.still_file import load_still
from fractionkit.stock import acts, open_stock, proof
from fractionkit.stock.alarms import alarms
from fractionkit.stock.campaign import campaign
from fractionkit.stock.charge import charge_of, run_section, still_section
from fractionkit.stock.ledger import Ledger
from fractionkit.stock.lineage import back, forth
from tests.stock.book import BINARY, HEAVY, assessment, bought

DEMO = Path("data/demo_binary")


@pytest.fixture
def stock(tmp_path):
    """R1; B1 = 0.1 of C4 + 0.05 of C3; R2 charged with C1, C2; lot L1 of B1 and R2/C4; 0.1 of the lot sold."""
    with open_stock(tmp_path / "shelf.db", create=True) as opened:
        opened.enter(assessment("first"))
        opened.fill("C4", 0.1)
        opened.pour("C3", "B1", 0.05)
        opened.enter(assessment("second"), [("R1/C1", None), ("R1/C2", 0.1)])
        opened.combine("L1", [("B1", None), ("R2/C4", None)])
        opened.take("L1", 0.1, "sell", "Somebody")
        opened.take("R1/residue", None, "dispose")
        yield opened


def place(stock, name):
    return stock.ledger.names()[name]


def told(links):
    return {link.name: (round(link.mass, 9), round(link.share, 6)) for link in links}


def test_what_is_in_a_bottle_with_the_charge_of_its_runs(stock):
    links = back(stock.ledger, place(stock, "L1"))
    assert told(links) == {
        "R2/C4": (0.28, 0.7),
        "R1/C4": (0.08, 0.2),
        "R1/C3": (0.04, 0.1),
    }  # 0.35, 0.1 and 0.05 went in; a fifth was sold
    second = next(link for link in links if link.name == "R2/C4").links
    assert told(second) == {
        "R2/charge": (0.9, round(0.9 / 1.4, 6)),
        "R1/C1": (0.4, round(0.4 / 1.4, 6)),
        "R1/C2": (0.1, round(0.1 / 1.4, 6)),
    }
    first = next(link for link in links if link.name == "R1/C4").links
    assert told(first) == {"R1/charge": (1.4, 1.0)}
    assert not any(link.links for link in second)  # the charge of R1 is told once


def test_where_a_cut_went_through_pours_lots_and_distilling_again(stock):
    links = forth(stock.ledger, place(stock, "R1/C4"))
    assert told(links) == {
        "R1/C4": (0.25, round(0.25 / 0.35, 6)),
        "L1": (0.08, round(0.08 / 0.35, 6)),
        "Somebody": (0.02, round(0.02 / 0.35, 6)),
    }
    again = forth(stock.ledger, place(stock, "R1/C2"))
    assert told(again) == {"R1/C2": (0.15, 0.6), "R2": (0.1, 0.4)}
    from_there = {link.name for link in next(link for link in again if link.name == "R2").links}
    assert from_there == {"R2/C1", "R2/C2", "R2/C3", "R2/residue", "L1", "Somebody"}


def test_a_bottle_poured_full_circle_is_followed(stock):
    stock.pour("L1", "R1/C4", 0.1)
    stock.pour("R1/C4", "L1", 0.2)
    assert sum(link.mass for link in back(stock.ledger, place(stock, "L1"))) == pytest.approx(0.5)
    assert sum(link.mass for link in forth(stock.ledger, place(stock, "R1/C4"))) > 0.25
    assert stock.prove().holds


def test_yield_counts_what_was_distilled_again_once(stock):
    found = campaign(stock.ledger)
    assert found.fresh == pytest.approx(1.4 + 0.9)
    assert found.recycled == pytest.approx(0.5)
    assert found.in_lots == pytest.approx(0.4)
    assert found.left == pytest.approx(0.1)
    assert found.to_keep == pytest.approx(0.25)  # what is left of R1/C4
    assert found.waste == pytest.approx(0.07)
    assert found.loss == pytest.approx(2 * 0.03)
    assert found.kept == pytest.approx(0.75)
    assert found.kept_share == pytest.approx(0.75 / 2.3)
    parts = found.in_lots + found.left + found.to_keep + found.standing + found.waste + found.loss
    assert round(1e9 * parts) == round(1e9 * found.fresh)
    assert list(found.shares) == [BINARY[1], BINARY[0]]  # the one wanted first
    held = 0.6 * HEAVY[3] + 0.05 * HEAVY[2] + 0.1 * HEAVY[3]  # of the target, kg, by hand from the cuts' centres
    charge = (
        2 * (0.4 * 0.04 + 0.25 * 0.3 + 0.3 * 0.8 + 0.35 * 0.995 + 0.07 * 0.97) * 1.4 / 1.37 - 0.4 * 0.04 - 0.1 * 0.3
    )
    assert found.shares[BINARY[1]].estimate == pytest.approx(held / charge, abs=0.01)
    assert found.shares[BINARY[1]].low < held / charge < found.shares[BINARY[1]].high


def test_yield_of_some_runs_counts_what_came_from_others_and_went_on_to_others(stock):
    first, second = campaign(stock.ledger, ["R1"]), campaign(stock.ledger, ["r-2"])
    assert (first.fresh, first.before, first.later) == (pytest.approx(1.4), 0.0, pytest.approx(0.5))
    assert (second.fresh, second.before, second.later) == (pytest.approx(0.9), pytest.approx(0.5), 0.0)
    for found in (first, second):
        came = found.fresh + found.before + found.found
        there = found.in_lots + found.left + found.to_keep + found.standing + found.waste + found.loss + found.later
        assert round(1e9 * came) == round(1e9 * there)
    assert first.kept + second.kept == pytest.approx(campaign(stock.ledger).kept)
    with pytest.raises(InputError, match="like R"):
        campaign(stock.ledger, ["R9"])


def test_an_empty_logbook_answers(tmp_path):
    with open_stock(tmp_path / "new.db", create=True) as stock:
        assert stock.holdings() == ()
        assert campaign(stock.ledger).kept_share == 0.0
        assert stock.prove().holds
        with pytest.raises(InputError, match="it is empty"):
            stock.holding("B1")


def test_the_proof_can_fail(stock):
    """The same rows with one mass another: what would be the case were a movement booked wrongly, with seals that fit."""
    from fractionkit.stock.store import sealed

    def tampered(number, factor):
        entries, before = [], ""
        for entry in stock.ledger.entries:
            if entry.booking.id == number:
                first = replace(entry.movements[0], mass=int(entry.movements[0].mass * factor))
                entry = replace(entry, movements=(first, *entry.movements[1:]))
            entries.append(sealed(entry, before))
            before = entries[-1].booking.seal
        return proof.prove(Ledger(entries), stock._connection, stock.path)

    assert proof.prove(stock.ledger, stock._connection, stock.path).holds
    broken = {finding.what for finding in tampered(3, 1.1).findings if not finding.holds}
    assert broken == {"movements add up to what stands in each place"}  # the file says otherwise
    broken = {finding.what for finding in tampered(3, 9).findings if not finding.holds}
    assert broken == {"nothing is taken that is not there"}
    assert not tampered(2, 1.001).holds  # a pot from which less comes than went in


def test_the_proof_notices_one_microgram(stock):
    """A microgram that came from nowhere, put into what stands behind the ledger's back."""
    bottle = place(stock, "R2/C3")
    sums = (
        lambda state: proof._materials(stock.ledger, state),
        lambda state: proof._whole(stock.ledger, state),
        lambda state: proof._movements(stock.ledger, state, stock._connection, stock.path),
    )
    state = stock.ledger.state()
    assert all(compare(state).holds for compare in sums)
    material = next(iter(state.content[bottle]))
    state.content[bottle][material] += 1
    assert not any(compare(state).holds for compare in sums)


def test_names_are_found_however_they_are_typed(stock):
    for typed in ("B1", "b1", "B-1", " b 1", "b_1"):
        assert stock.holding(typed).name == "B1"
    assert stock.holding("r2/c3").name == "R2/C3"
    with pytest.raises(InputError, match="one of R1/C3, R2/C3"):
        stock.holding("C3")
    with pytest.raises(InputError, match="like B1"):
        stock.holding("B11")
    with pytest.raises(InputError, match="another name: B1 has this one"):
        stock.fill("R2/C3", name="b-1")


def day(ahead):
    return (datetime.date(2026, 5, 9) + datetime.timedelta(days=ahead)).isoformat()


def test_alarms_of_retest_and_stabiliser_follow_the_liquid(stock):
    stock.receive(
        0.5, bought(), "CF", notes=[acts.Noted(acts.STABILISER, "ethanol"), acts.Noted(acts.RETEST, day(100))]
    )
    stock.fill("CF", 0.2, "CF2")
    codes = lambda ahead: {(a.name, a.code) for a in alarms(stock.holdings(), day(ahead)) if a.name.startswith("CF")}  # noqa: E731
    assert codes(0) == set()
    assert codes(70) == {("CF", "retest_soon"), ("CF2", "retest_soon")}
    assert codes(101) == {("CF", "retest_due"), ("CF2", "retest_due")}
    assert {a.name for a in alarms(stock.holdings(), day(0)) if a.code == "no_stabiliser"} >= {"L1", "R2/C3"}
    stock.note("CF2", [acts.Noted(acts.RETEST, day(300)), acts.Noted(acts.STABILISER, "none")])
    assert codes(101) == {("CF", "retest_due"), ("CF2", "no_stabiliser")}
    stock.pour("CF2", "CF")  # mixed: the earlier date, and 0.3 of 0.5 kg with stabiliser
    assert codes(101) == {("CF", "retest_due"), ("CF", "little_stabiliser")}
    assert stock.holding("CF").condition.stabilised == pytest.approx(0.6)
    stock.undo()
    assert codes(101) == {("CF", "retest_due"), ("CF2", "no_stabiliser")}


def test_carbon_tetrachloride_keeps_without_stabiliser(tmp_path):
    from fractionkit.stock.composition import typed

    with open_stock(tmp_path / "new.db", create=True) as stock:
        stock.receive(0.5, typed({"carbon tetrachloride": None}, 1))
        assert alarms(stock.holdings(), day(0)) == ()


def test_evaporation_is_noticed(stock):
    stock.weigh("R2/C3", 0.298)
    assert "evaporated" not in {a.code for a in alarms(stock.holdings(), day(0))}
    assert stock.weigh("R2/C3", 0.29) == -8_000_000
    assert ("R2/C3", "evaporated") in {(a.name, a.code) for a in alarms(stock.holdings(), day(0))}
    assert stock.weigh("R2/C3", 0.291) == 1_000_000
    assert stock.prove().holds
    assert campaign(stock.ledger).found == pytest.approx(0.001)


def test_a_density_that_is_not_that_of_what_should_be_in_it(stock):
    """Tetrachloroethylene: 1.6226 g/mL at 20 °C (CRC Handbook of Chemistry and Physics, from memory); ± 1 mg/mL."""
    from fractionkit.stock.composition import typed

    stock.receive(0.5, typed({"tetrachloroethylene": None}, 1), "P")
    codes = lambda: {a.code for a in alarms(stock.holdings(), day(0)) if a.name == "P"}  # noqa: E731
    stock.note("P", [acts.Noted(acts.DENSITY, "1.6226 g/mL at 20 °C", 1622.6, 0.5, 293.15)])
    assert "density_disagrees" not in codes()
    stock.note("P", [acts.Noted(acts.DENSITY, "1.600 g/mL at 20 °C", 1600.0, 0.5, 293.15)])
    assert "density_disagrees" in codes()
    stock.pour("R2/C1", "P", 0.1)  # now it is another liquid, of which no density was read
    assert "density_disagrees" not in codes()


def test_bottles_as_the_next_charge_are_read_by_both_sheets(stock, tmp_path):
    charge = charge_of(stock, ["R2/C3", "R1/C3", "R2/C3"])  # a name twice counts once
    assert charge.names == ("R2/C3", "R1/C3")
    assert charge.mass == pytest.approx(0.3 + 0.25)
    run = tmp_path / "run"
    shutil.copytree(DEMO, run)
    sheet = (run / "run.toml").read_text(encoding="utf-8").replace('[charge]\nmass = "1480 g"\n', run_section(charge))
    (run / "run.toml").write_text(sheet, encoding="utf-8")
    read = load_run(run).charge
    assert read.mass.value == pytest.approx(0.55, abs=1e-4)
    assert read.composition[BINARY[0]].value == pytest.approx(1 - HEAVY[2], abs=0.005)
    still = Path("data/demo_still/STILL.toml").read_text(encoding="utf-8")
    start, end = still.index("[feed]"), still.index("[pressure]")
    (tmp_path / "STILL.toml").write_text(still[:start] + still_section(charge) + still[end:], encoding="utf-8")
    feed = load_still(tmp_path / "STILL.toml").feed
    assert feed.mass.value == pytest.approx(0.55, abs=1e-4)
    assert feed.composition[BINARY[0]].value == pytest.approx(1 - HEAVY[2], abs=0.005)
    assert feed.rest == BINARY[1]
    # errors shared by the run do not average out: both bottles are of one kind, as uncertain together as each alone
    assert charge.u[0] > 0.6 * float(np.std(stock.materials(["R2/C3"])[0].draws[:, 0]))


def test_sections_with_any_name_are_toml(stock):
    name = 'a "b" \\ ü 🧪\n# c = [\x7f \x9b31m \u202e \u2028 \U000e0041 é'
    stock.fill("R2/C3", name=name)
    charge = charge_of(stock, [name])
    assert tomllib.loads(run_section(charge))["charge"]["mass"].endswith(" g")
    text = still_section(charge).replace("# bottles", "bottles")
    assert tomllib.loads(text)["feed"]["bottles"] == [name]
    assert all(sign.isprintable() or sign == "\n" for sign in text)


def test_what_is_to_be_recycled_is_offered_as_one_charge(stock):
    from fractionkit.stock.charge import to_recycle

    stock.fill("R2/C2", 0.1)  # B2: all of it from a cut to recycle
    assert set(to_recycle(stock)) == {"R1/C2", "R1/C3", "R2/C2", "R2/C3", "B2"}
    stock.pour("R2/C1", "B2", 0.01)  # no longer: C1 is to be redistilled
    assert stock.holding("B2").decision is None
    assert "B2" not in to_recycle(stock)
    other = replace(assessment("for another component"), target=BINARY[0])
    stock.enter(other)
    with pytest.raises(InputError, match=r"for tetrachloroethylene: .*R1/C3.*; for trichloroethylene: R3/C2, R3/C3"):
        to_recycle(stock)


def test_the_shelf_is_searched_by_words(stock):
    names = lambda *words: {held.name for held in stock.holdings() if held.speaks_of(words)}  # noqa: E731
    assert names("L1") == {"L1"}
    assert names("recycle", "second") == {"R2/C2", "R2/C3"}
    assert "L1" in names("TETRA")
    assert names("acetone") == set()


def test_empty_bottles_are_no_charge(stock):
    with pytest.raises(InputError, match="not empty"):
        charge_of(stock, ["B1"])
