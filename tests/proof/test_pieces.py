"""The study's own parts: pieces taken up again, figures of cuts made by hand, and further readings against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.proof import aims, jobs, tables
from tests.proof.coverage import Cuts, merged
from tests.proof.more import BALANCE, EXTRAS, INDEX, LOST, RANGE, spot_test, variants
from tests.proof.simulate import GOOD, PLAIN, benches, readings, repeated

PAIR = ("chloroform", "carbon tetrachloride")


def cuts(error: np.ndarray, line: np.ndarray, raoult: np.ndarray, truth: np.ndarray, bound: np.ndarray) -> Cuts:
    """Cuts of a pair in two runs, both readings taken of each."""
    size = len(error)
    both = np.stack([error, -error], axis=1)
    hit = np.abs(both) < 0.02
    return Cuts(
        PAIR, "good", 0, np.stack([truth, 1.0 - truth], axis=1), hit, hit, both, np.full((size, 2), 0.02),
        np.stack([bound, bound], axis=1), np.zeros(size, dtype=np.intp), line, raoult, np.zeros(size),
        np.arange(size, dtype=np.intp) % 2, np.ones(size, dtype=np.intp), np.zeros((0, 3)), np.zeros(2),
    )  # fmt: skip


def test_against_the_hand_method_only_where_it_is_off():
    """The line is 4 wt% off between 20 and 40 wt% and 0.5 between 60 and 80: only the first band counts."""
    truth = np.array([0.3, 0.35, 0.7, 0.75])
    line = np.array([0.04, -0.04, 0.005, -0.005])
    found = cuts(np.array([0.01, 0.01, 0.3, 0.3]), line, 3.0 * line, truth, np.full(4, 0.02))
    by_hand, ours, bound = tables.against_hand(found)
    assert by_hand == pytest.approx(0.04)
    assert ours == pytest.approx(0.25)
    assert bound == pytest.approx(0.5)


def test_words_of_a_figure_follow_its_error():
    assert aims.within(0.95, 0.01, (0.9, 0.995)) == "met"
    assert aims.within(0.89, 0.01, (0.9, 0.995)).startswith("outside, but not settled")
    assert "not met** (too seldom)" in aims.within(0.85, 0.01, (0.9, 0.995))
    assert "too often" in aims.within(1.0, 0.001, (0.9, 0.995))


def test_no_miss_in_few_runs_settles_nothing():
    """Two runs without a miss: 100 % with no spread between them says nothing against 90 to 99.5 %."""
    found = cuts(np.zeros(4), np.zeros(4), np.zeros(4), np.full(4, 0.5), np.full(4, 0.02))
    assert "not settled" in aims.held([found], aims.MIXTURE_95).word


def test_runs_drawn_apart_stay_apart():
    """Standard error of a coverage of two pieces of two runs: four runs, of which one misses both its cuts."""
    good = cuts(np.zeros(4), np.zeros(4), np.zeros(4), np.full(4, 0.5), np.full(4, 0.02))
    bad = replace(good, hit95=np.array([[False] * 2, [True] * 2, [False] * 2, [True] * 2]))
    both = merged([good, bad])
    assert len(np.unique(both.run)) == 4
    assert tables.coverage([both], tables.hit95) == 0.75
    # deviations of the runs' sums from 2 x 0.75: 0.5 three times and -1.5 once, over eight cuts
    assert tables.standard_error([both], tables.hit95) == pytest.approx(np.sqrt(3 * 0.25 + 2.25) / 8)


def test_pieces_are_taken_up_again(tmp_path, monkeypatch):
    """The second time nothing is computed, and the report's figures are the same."""
    planned = jobs.planned(3, 0.01, ["truth"], " + ".join(PAIR))
    assert sum(job.runs for job in planned) == 2
    first = jobs.run(planned, 1, tmp_path)
    assert len(list(tmp_path.iterdir())) == len(planned)
    monkeypatch.setattr(jobs.Job, "done", None)
    again = jobs.run(planned, 1, tmp_path)
    assert tables.overall(jobs.cuts_of(first, "truth")) == tables.overall(jobs.cuts_of(again, "truth"))


def test_runs_of_all_pieces_add_up():
    planned = jobs.planned(1, 1.0, ["truth", "control", "more"])
    for part, runs in jobs.RUNS.items():
        for n, wanted in runs.items():
            counts: dict[tuple[str, ...], int] = {}
            for job in planned:
                if job.part == part and len(job.names) == n:
                    counts[job.names] = counts.get(job.names, 0) + job.runs
            assert set(counts.values()) == {wanted}
    assert len({job.file for job in planned}) == len(planned)


def test_charge_is_what_the_vessels_hold():
    for bench in benches(PAIR, 4, 2):
        held = bench.mass @ bench.w + bench.rest_mass * bench.rest
        assert np.abs(held - bench.feed).max() < 1e-9
        balanced, _ = variants(bench, GOOD, readings(bench, GOOD, 2), 2)[BALANCE]
        assert balanced.balance is not None
        lost = balanced.balance.charge - balanced.balance.mass.sum()
        slack = 5.0 * EXTRAS["good"].weighing * np.sqrt(len(bench.mass) + 2)
        assert -slack < lost < LOST + slack


def test_boiling_range_begins_at_the_bubble_point_and_ends_below_the_heavier():
    """First drop: bubble point of the cut; dry point: above its dew point, below the pure heavier component's."""
    for bench in benches(PAIR, 3, 2):
        found, taken = variants(bench, GOOD, readings(bench, GOOD, 2), 2)[RANGE]
        w = bench.w[taken] / bench.w[taken].sum(axis=1, keepdims=True)
        x = w / bench.truth.molar_mass / (w / bench.truth.molar_mass).sum(axis=1, keepdims=True)
        part = bench.truth.part(np.full(len(x), bench.number))
        pressure = np.full(len(x), bench.pressure)
        warm, _ = repeated(bench, GOOD, 2)
        scatter = 5.0 * EXTRAS["good"].range_repeat
        bubble, dew = part.bubble_point(x, pressure)[0], part.dew_point(x, pressure)[0]
        heavy = part.bubble_point(np.tile([0.0, 1.0], (len(x), 1)), pressure)[0]
        assert np.abs(found.range_start.value[taken] - warm - bubble).max() < scatter
        assert (found.range_end.value[taken] - warm > dew - scatter).all()
        assert (found.range_end.value[taken] - warm < heavy + scatter).all()


def test_refractive_indices_lie_between_the_pure_ones():
    """Chloroform 1.4459 and carbon tetrachloride 1.4601 at 20 degC (CRC Handbook), 0.0006 less a kelvin."""
    for bench in benches(PAIR, 3, 2):
        found, _ = variants(bench, PLAIN, readings(bench, PLAIN, 2), 2)[INDEX]
        at_20 = found.index.value + 0.00058 * (bench.density_temperature - 293.15)
        assert (at_20 > 1.4459 - 0.004).all()
        assert (at_20 < 1.4601 + 0.004).all()
        near = 1.4459 * bench.w[:, 0] + 1.4601 * bench.w[:, 1]
        assert np.abs(at_20 - near).max() < 0.004


def test_a_test_finds_what_is_there():
    """Far over the limit it is positive, at nothing it is negative 95 times in 100."""
    bench = benches(PAIR, 1, 2)[0]
    rich = replace(bench, w=np.tile([0.5, 0.5], (len(bench.mass), 1)))
    none = replace(bench, w=np.tile([1.0, 0.0], (len(bench.mass), 1)))
    seen = {True: 0, False: 0}
    rng = np.random.default_rng(1)
    evidence = readings(bench, GOOD, 2)
    for _ in range(400):
        (found,) = spot_test(rich, EXTRAS["good"], evidence, rng)[0].detections
        assert found.positive
        (found,) = spot_test(none, EXTRAS["good"], evidence, rng)[0].detections
        seen[found.positive] += found.component == 1
    assert seen[True] / (seen[True] + seen[False]) == pytest.approx(0.05, abs=0.05)
