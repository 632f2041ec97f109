"""Lots made from the demo sheet and from runs: held against the true compositions, the sheet, and themselves."""

import csv
import dataclasses
import datetime
import shutil
from pathlib import Path

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.release import make_lots, sheet_of_runs
from fractionkit.sheets import load_run
from fractionkit.sheets.lot_file import load_lot
from fractionkit.sheets.lot_model import LotRun, LotTarget
from tests.release.once import assess_once, each_once  # noqa: F401

DATA = Path(__file__).parents[2] / "data"
TODAY = datetime.date(2026, 5, 11)


@pytest.fixture(scope="module")
def demo():
    return make_lots(load_lot(DATA / "demo_lot"), today=TODAY)


@pytest.fixture(scope="module")
def shortcut():
    return make_lots(sheet_of_runs([DATA / "demo_binary"]), today=TODAY)


def truth():
    with (DATA / "demo_binary" / "truth.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return {row["cut"]: {name: float(row[name]) for name in row if name != "cut"} for row in rows}


def test_each_lot_holds_its_purity_in_truth(demo):
    """Assay of the lot from the true composition of what went in, which the run's simulation wrote down."""
    true = truth()
    for lot in demo.lots:
        held = sum(parent.mass * true[parent.name][lot.target] for parent in lot.parents) / lot.mass
        assert lot.assay.low <= held <= lot.assay.high
        assert held >= lot.purity


def test_mass_is_neither_made_nor_lost(demo):
    run = assess_once(load_run(DATA / "demo_binary"))
    for cut in run.cuts:
        gone = sum(p.mass for lot in demo.lots for p in lot.parents if p.name == cut.name)
        rest = sum(left.mass for left in demo.left if left.name == cut.name)
        assert gone + rest == pytest.approx(cut.mass, abs=1e-9)
    for lot in demo.lots:
        assert lot.mass == pytest.approx(sum(parent.mass for parent in lot.parents))


def test_parts_keep_at_least_what_whole_cuts_do(shortcut):
    run = assess_once(load_run(DATA / "demo_binary"))
    (lot,) = shortcut.lots
    assert lot.mass >= run.lot.mass
    assert lot.probability_meets_target >= lot.confidence
    assert lot.meets_target


def test_whole_cuts_are_those_that_assess_keeps():
    sheet = sheet_of_runs([DATA / "demo_binary"])
    whole = dataclasses.replace(sheet, targets=(dataclasses.replace(sheet.targets[0], whole=True),))
    (lot,) = make_lots(whole, today=TODAY).lots
    run = assess_once(load_run(DATA / "demo_binary"))
    assert tuple(parent.name for parent in lot.parents) == run.lot.cuts
    assert lot.mass == pytest.approx(run.lot.mass)
    # joint draws here, there the marginals of a lone cut: apart by the noise of the draws
    assert lot.assay.estimate == pytest.approx(run.lot.assay.estimate, abs=2e-4)
    assert lot.assay.low == pytest.approx(run.lot.assay.low, abs=1e-3)


def test_what_a_cut_would_take_is_enough(shortcut):
    """Adding so much more of the donor does bear the cut: checked on the draws of the run, and a little less does not."""
    run = assess_once(load_run(DATA / "demo_binary"))
    names = [cut.name for cut in run.cuts]
    (lot,) = shortcut.lots
    above = run.draws[:, :, run.components.index(lot.target)] - lot.purity
    inside = sum(parent.mass * above[:, names.index(parent.name)] for parent in lot.parents)
    found = next(left for left in shortcut.left if left.name == "C7")
    assert found.donor == "C8"
    rest = inside + found.mass * above[:, names.index("C7")]
    assert (rest + 1.001 * found.more * above[:, names.index("C8")] >= 0.0).mean() >= lot.confidence
    assert (rest + 0.98 * found.more * above[:, names.index("C8")] >= 0.0).mean() < lot.confidence
    assert "g more like C8" in found.takes


def test_frontier_falls_and_meets_the_lot(demo):
    for lot, found in zip(demo.lots, demo.frontiers, strict=True):
        assert (np.diff(found.mass) < 0.0).all()
        nearest = np.interp(lot.purity, found.assay, found.mass)
        assert nearest == pytest.approx(lot.mass, rel=0.15)  # a straight line between points of the curve


def test_numbers(demo, shortcut):
    assert [lot.number for lot in demo.lots] == ["L-2026-05-10-1", "L-2026-05-10-2"]
    assert shortcut.lots[0].number == "L-2026-05-11-1"
    sheet = load_lot(DATA / "demo_lot")
    taken = make_lots(sheet, today=TODAY, taken=("L-2026-05-10-1", "L-2026-05-10-3"))
    assert [lot.number for lot in taken.lots] == ["L-2026-05-10-2", "L-2026-05-10-4"]
    named = make_lots(dataclasses.replace(sheet, number="H"), today=TODAY)
    assert [lot.number for lot in named.lots] == ["H-1", "H-2"]


def test_tests_and_stabiliser_belong_to_their_lot(demo):
    first, second = demo.lots
    assert [test.attribute for test in first.tests] == ["water", "acidity"]
    assert second.tests == ()
    assert first.stabiliser.added == "thymol, 0.01 wt%"
    assert first.stabiliser.retest_by == "2026-11-10"
    assert second.stabiliser.added is None
    assert "unstabilised" in second.stabiliser.text


def test_label_is_honest(demo):
    for lot in demo.lots:
        text = "\n".join(lot.label)
        assert "reclaimed" in text
        assert "not by chromatography" in text
        assert "by head temperature and density" in text


def test_two_runs_of_one_charge_each(tmp_path):
    shutil.copytree(DATA / "demo_binary", tmp_path / "second")
    sheet = sheet_of_runs([DATA / "demo_binary", tmp_path / "second"])
    assert len(sheet.targets) == 1  # the same target, asked for once
    release = make_lots(sheet, today=TODAY)
    (lot,) = release.lots
    assert {parent.name for parent in lot.parents} == {"C7", "C8"}
    assert len({parent.origin for parent in lot.parents}) == 2


def test_a_target_that_nothing_meets():
    sheet = sheet_of_runs([DATA / "demo_ternary"])
    release = make_lots(sheet, today=TODAY)
    assert release.lots == ()
    (flag,) = [flag for flag in release.flags if flag.code == "no_lot"]
    assert "nothing can be kept as 95 wt% 1,2-dichloroethane" in flag.text
    assert "the purest that is 95 % sure" in flag.text


def test_faults_of_what_the_sheet_names(tmp_path):
    sheet = sheet_of_runs([DATA / "demo_binary"])
    run = sheet.runs[0].path
    for wrong, expected in (
        ({"runs": (LotRun(run, ("C7", "C77")),)}, "found 'C77'; expected a cut of"),
        ({"targets": (LotTarget("chloroform", 0.99),)}, "found 'chloroform'; expected a component of"),
    ):
        with pytest.raises(InputError, match=expected):
            make_lots(dataclasses.replace(sheet, **wrong), today=TODAY)
    with pytest.raises(InputError, match="each run once"):
        sheet_of_runs([DATA / "demo_binary", DATA / "demo_binary" / "run.toml"])
    shutil.copytree(DATA / "demo_binary", tmp_path / "run")
    file = tmp_path / "run" / "run.toml"
    file.write_text(file.read_text(encoding="utf-8").split("[target]")[0], encoding="utf-8")
    with pytest.raises(InputError, match=r"a \[target\] in the sheet of a run"):
        sheet_of_runs([tmp_path / "run"])
