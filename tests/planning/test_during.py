"""Help during a run, against runs whose truth is known."""

from pathlib import Path

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.planning.cutting.curve import collected
from fractionkit.planning.during.follow import MANY, during, follow, start
from fractionkit.planning.during.log import read_log
from fractionkit.planning.during.model import BenchReading
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.planning.setups import setups_of
from fractionkit.sheets.still_file import load_still
from fractionkit.still import distil

DEMO = Path(__file__).parents[2] / "data" / "demo_still"
SETUP, REFLUX = "Vigreux 40 cm", 3.0
ICE = 273.15
TRUTHS = 24
REPEAT = 0.15


@pytest.fixture(scope="module")
def sheet():
    return load_still(DEMO)


@pytest.fixture(scope="module")
def started(sheet):
    """As many scenarios as are taken where too few of the first carry the answer, which is so with three readings."""
    return start(sheet, setup=SETUP, reflux=REFLUX, count=MANY)


@pytest.fixture(scope="module")
def truths(sheet):
    """Other scenarios of the same plan, as runs that truly went so; what the thermometer shows included."""
    scenarios = scenarios_of(sheet, TRUTHS, seed=977)
    setup = next(s for s in setups_of(sheet) if s.name == SETUP)
    rng = np.random.default_rng(5)
    made = distil(
        scenarios.volatility, scenarios.moles, scenarios.stages(setup),
        REFLUX * np.exp(0.1 * rng.standard_normal(TRUTHS)), scenarios.pressure, distilled=0.8,
        column_holdup=scenarios.holdup(setup), tolerance=3e-4,
    )  # fmt: skip
    return collected(made, reading_error=scenarios.reading)


def _readings(curve, row, masses, rng):
    at = np.broadcast_to(masses, (TRUTHS, len(masses)))
    heads = curve.head_at(at)[row] + REPEAT * rng.standard_normal(len(masses))
    return [BenchReading(float(head), float(mass)) for head, mass in zip(heads, masses, strict=True)]


def test_intervals_hold_the_truth_and_hearts_are_as_good_as_claimed(started, truths):
    """95 % intervals over 24 runs, three readings each: a binomial of 24 at 0.95 is 20 or more in 99.4 of 100 cases."""
    curve = truths
    rng = np.random.default_rng(11)
    total = float(np.median(curve.mass[:, -1]))
    masses = total * np.array([0.2, 0.35, 0.45])
    since = masses[1]
    held, wide, hearts, good = np.zeros((TRUTHS, 3)), [], 0, 0
    for row in range(TRUTHS):
        found = follow(started, _readings(curve, row, masses, rng), since=since)
        assert not found.impossible
        over = curve.at_mass(np.broadcast_to([since, masses[-1]], (TRUTHS, 2)))[row]
        inside = over[1] - over[0]
        near = curve.at_mass(np.broadcast_to([masses[-1] - 1e-3, masses[-1] + 1e-3], (TRUTHS, 2)))[row]
        coming = near[1] - near[0]
        left = curve.charge[row] - over[1]
        for k, (made, true) in enumerate(
            ((found.receiver.w[1], inside), (found.coming[1], coming), (found.left.w[1], left))
        ):
            held[row, k] = made.low <= true[1] / true.sum() <= made.high
        wide.append(found.coming[1].high - found.coming[1].low)
        change = found.change
        if change.what == "start of the heart":
            hearts += 1
            by_head = change.by == "head"
            begun = float(curve.mass_at_head(np.array([change.at]))[row, 0]) if by_head else change.at
            good += change.collected.low - 0.002 <= max(begun, masses[-1]) <= change.collected.high + 0.002
    assert np.all(held.sum(axis=0) >= 20), held.mean(axis=0)
    assert hearts > TRUTHS // 2
    assert good >= 0.85 * hearts
    # readings sharpen what the plan alone knows
    alone = started.curve.rate[:, :, 1]
    spread = np.quantile(
        [np.interp(masses[-1], m, a) for m, a in zip(started.curve.mass, alone, strict=True)], [0.025, 0.975]
    )
    assert np.mean(wide) < 0.7 * np.ptp(spread)


def test_a_heart_under_way_meets_the_target_as_claimed(started, truths):
    """Take the present receiver away where the answer says: it meets the purity in 95 of 100 runs, nearly."""
    curve = truths
    rng = np.random.default_rng(12)
    told = good = 0
    purity = started.scenarios.feed.target.purity
    for row in range(TRUTHS):
        total = float(curve.mass[row, -1])
        # the heart begun where 99.6 wt% comes over
        begun = float(np.interp(0.996, curve.rate[row, :, 1], curve.mass[row]))
        now = begun + 0.4 * (total - begun)
        if now - begun < 0.01:
            continue
        found = follow(started, _readings(curve, row, np.array([0.5 * begun, begun, now]), rng), since=begun)
        if found.impossible or found.change.what != "end of the heart":
            continue
        told += 1
        end = min(found.change.collected.estimate, total)
        over = curve.at_mass(np.broadcast_to([begun, end], (TRUTHS, 2)))[row]
        inside = over[1] - over[0]
        good += inside[1] / inside.sum() >= purity
    assert told > TRUTHS // 2
    assert good >= 0.9 * told


def test_readings_that_no_scenario_makes_are_called_impossible(sheet):
    found = during(sheet, [BenchReading(ICE + 90.0, 0.6)], setup=SETUP, reflux=REFLUX)
    assert found.impossible
    assert found.change is None
    assert "90.0 °C" in found.text[0]


def test_answer_is_the_same_twice(started):
    readings = [BenchReading(ICE + 92.0, 0.2)]
    assert follow(started, readings).text == follow(started, readings).text


@pytest.mark.parametrize(
    ("readings", "options", "expected"),
    [
        ([BenchReading(ICE + 92.0, 0.2)], {}, "which set-up is running"),
        ([BenchReading(ICE + 92.0, 0.2)], {"setup": "Vigreux 41 cm"}, "did you mean"),
        ([BenchReading(ICE + 92.0, 0.2)], {"setup": SETUP}, "the reflux ratio that is running"),
        ([BenchReading(ICE + 92.0, 9.0)], {"setup": SETUP, "reflux": 3.0}, "that can come over"),
        ([BenchReading(ICE + 92.0, 0.2)], {"setup": SETUP, "reflux": 3.0, "since": 0.3}, "at most the 200 g"),
        ([BenchReading(ICE + 92.0, 0.2), BenchReading(ICE + 93.0, 0.1)], {"setup": SETUP, "reflux": 3.0}, "not below"),
        ([], {"setup": SETUP, "reflux": 3.0}, "a reading"),
    ],
)
def test_what_is_wrong_is_said(sheet, readings, options, expected):
    with pytest.raises(InputError, match=expected):
        during(sheet, readings, **options)


def test_a_log_is_read_as_spreadsheets_save_it(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time;head [F];collected [kg];note\n10:15;194,0;0,12;\n10:40;199,4;0,2;foams\n", encoding="utf-8")
    found = read_log(path)
    assert [r.row for r in found] == [2, 3]
    assert found[0].head == pytest.approx(ICE + 90.0)
    assert found[1].collected == pytest.approx(0.2)


def test_faults_of_a_log_are_told_at_once(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("head,collected\nwarm,100\n91.0,\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert len(caught.value.faults) == 2
    path.write_text("time,head\n10:15,91\n", encoding="utf-8")
    with pytest.raises(InputError, match="column collected"):
        read_log(path)
