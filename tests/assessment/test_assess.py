"""The whole job on runs whose truth is known: the demo runs, and the estimator's own model with readings changed."""

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest

from fractionkit import assess, load_run
from tests.demo.make import SCENARIOS, files


def truth(folder):
    lines = (folder / "truth.csv").read_text(encoding="utf-8").splitlines()[1:]
    return {row.pop("cut"): {name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)}


@pytest.fixture(scope="module", params=["binary", "ternary"])
def demo(request):
    folder = Path("data") / f"demo_{request.param}"
    return folder, assess(load_run(folder))


def test_the_truth_of_a_simulated_still_lies_in_the_intervals(demo):
    """95 % intervals of 16 and 30 mass fractions, which within a run are not independent: nine in ten must hold."""
    folder, assessment = demo
    known = truth(folder)
    inside = [
        found.low <= known[cut.name][name] <= found.high
        for cut in assessment.cuts
        for name, found in cut.composition.items()
    ]
    assert np.mean(inside) >= 0.9


def test_fractions_are_fractions(demo):
    _, assessment = demo
    for cut in assessment.cuts:
        assert sum(found.estimate for found in cut.composition.values()) == pytest.approx(1.0, abs=1e-9)
        for found in cut.composition.values():
            assert 0.0 <= found.low <= found.estimate <= found.high <= 1.0


def test_the_lot_truly_is_what_its_label_says(demo):
    folder, assessment = demo
    if not assessment.lot.cuts:
        assert not assessment.lot.meets_target
        return
    known = truth(folder)
    mass = {cut.name: cut.mass for cut in assessment.cuts}
    total = sum(mass[name] for name in assessment.lot.cuts)
    assay = sum(mass[name] * known[name][assessment.target] for name in assessment.lot.cuts) / total
    assert assay >= assessment.purity
    assert assessment.lot.mass == pytest.approx(total)


def test_the_planted_thermometer_error_is_found():
    """The binary demo's thermometer reads 0.45 K low: the run says so more closely than what was stated, ± 0.8 K."""
    assessment = assess(load_run(Path("data/demo_binary")))
    (finding,) = [f for f in assessment.findings if f.instrument == "thermometer"]
    assert finding.after.low <= -0.45 <= finding.after.high
    assert finding.after.high - finding.after.low < 0.6 * (finding.before.high - finding.before.low)
    assert "low" in finding.text


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.folder)
def test_the_demo_runs_are_what_the_simulated_still_gives(scenario):
    for name, text in files(scenario).items():
        assert (Path("data") / scenario.folder / name).read_text(encoding="utf-8") == text, name


def sheet(tmp_path, **changes):
    folder = tmp_path / "run"
    shutil.copytree("data/demo_binary", folder)
    path = folder / "run.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return load_run(folder)


def test_more_out_than_in_is_flagged(tmp_path):
    assessment = assess(sheet(tmp_path, charge=('mass = "1480 g"', 'mass = "1400 g"')))
    assert "balance_over_100" in [flag.code for flag in assessment.flags]


def test_a_large_loss_is_flagged_with_its_bound(tmp_path):
    assessment = assess(sheet(tmp_path, charge=('mass = "1480 g"', 'mass = "1800 g"')))
    (flag,) = [flag for flag in assessment.flags if flag.code == "large_loss"]
    assert "trichloroethylene, the lightest" in flag.text


def test_without_a_target_no_lot_is_chosen(tmp_path):
    target = '[target]\ncomponent = "tetrachloroethylene"\npurity = "99 wt%"\nconfidence = 0.95\n'
    assessment = assess(sheet(tmp_path, target=(target, "")))
    assert assessment.lot is None
    assert "no_target" in [flag.code for flag in assessment.flags]
    assert all(cut.probability_meets_target is None for cut in assessment.cuts)


def test_a_second_laboratory_narrows_its_cut(tmp_path):
    before = assess(sheet(tmp_path / "a"))
    result = '[[result]]\ncut = "C6"\ncomponent = "trichloroethylene"\nfraction = "18.5 ± 0.3 wt%"\n\n[[test]]'
    after = assess(sheet(tmp_path / "b", result=("[[test]]", result)))
    widths = [
        cut.composition["trichloroethylene"].high - cut.composition["trichloroethylene"].low
        for cut in (before.cuts[5], after.cuts[5])
    ]
    assert widths[1] < 0.5 * widths[0]
    assert widths[1] == pytest.approx(0.006, rel=0.15)  # a 95 % interval of ± 0.3 wt% and little beside it


def test_a_stated_charge_moves_the_cuts_towards_its_balance(tmp_path):
    """A charge stated richer in trichloroethylene than the cuts say draws all of them that way, within their errors."""
    before = assess(sheet(tmp_path / "a"))
    richer = '[charge]\nmass = "1480 g"\ncomposition = { trichloroethylene = "46.3 ± 0.4 wt%" }'
    after = assess(sheet(tmp_path / "b", charge=('[charge]\nmass = "1480 g"', richer)))
    moved = [
        new.composition["trichloroethylene"].estimate - old.composition["trichloroethylene"].estimate
        for new, old in zip(after.cuts, before.cuts, strict=True)
    ]
    assert min(moved) > -1e-3
    assert sum(moved) > 0.005


def test_the_table_has_one_row_a_cut(demo):
    _, assessment = demo
    table = assessment.table
    assert list(table.index) == [cut.name for cut in assessment.cuts]
    assert {"mass_g", "decision", "probability_meets_target"} <= set(table.columns)


def test_a_reading_that_stands_out_is_named_with_what_explains_it(tmp_path):
    for name in ("run.toml", "cuts.csv"):
        text = (Path("data") / "demo_binary" / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace("129.5,1.5025", "129.5,1.4825"), encoding="utf-8")  # a bubble in C4
    found = assess(load_run(tmp_path))
    flags = {cut.name: {flag.code for flag in cut.flags} for cut in found.cuts}
    assert {"cut_discordant", "reading_stands_out"} <= flags["C4"]
    assert not any("reading_stands_out" in codes for name, codes in flags.items() if name != "C4")
    told = next(flag.text for flag in found.flags if flag.code == "explanation")
    assert "C4" in told
    assert "bubble" in told
