"""STILL.toml: what is read, in SI, and every fault told at once with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.sheets.still_file import load_still
from fractionkit.sheets.still_sections import StillFile

GOOD = """\
[plan]
title = "Second pass"
date = 2026-06-01

[feed]
mass = "1200 ± 10 g"
composition = { TCE = "40 ± 3 wt%", 127-18-4 = "rest" }

[pressure]
station = "98.6 ± 0.4 kPa"

[thermometer]
bias = "0.8 degC"

[target]
component = "perchloroethylene"
purity = "99 wt%"

[still]
heater = "300 W"
pot = "3 L"
heel = "60 mL"
cooling_in = "15 degC"
cooling_rise = "10 K"
longest = "8 h"
startup = "0 min"
receivers = 5

[[setup]]
column = "vigreux 40"

[[setup]]
name = "mine"
stages = "6 ± 1"
holdup = "25 mL"
throughput = "8 mL/min"
reflux = [1, 3.5]

[[setup]]
name = "one ratio"
stages = 3
reflux = 2
"""


def load(tmp_path: Path, text: str):
    path = tmp_path / "STILL.toml"
    path.write_text(text, encoding="utf-8")
    return load_still(path)


def faults(tmp_path: Path, text: str):
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    return [str(fault).replace(str(tmp_path), "") for fault in caught.value.faults]


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


def test_everything_is_read_in_si(tmp_path):
    plan = load(tmp_path, GOOD)
    assert plan.components == ("trichloroethylene", "tetrachloroethylene")
    assert (plan.title, str(plan.date), plan.rank) == ("Second pass", "2026-06-01", "kept mass")
    assert plan.feed.mass.value == pytest.approx(1.2)
    assert plan.feed.mass.u == pytest.approx(0.01 / 1.959964)
    assert plan.feed.rest == "tetrachloroethylene"
    assert plan.feed.composition["trichloroethylene"].value == pytest.approx(0.4)
    assert list(plan.feed.composition) == ["trichloroethylene"]
    assert plan.pressure.station.value == pytest.approx(98600.0)
    assert plan.thermometer.bias == pytest.approx(0.8 / 1.959964)
    assert (plan.target.component, plan.target.purity, plan.target.confidence) == ("tetrachloroethylene", 0.99, 0.95)
    still = plan.still
    assert still.heater.value == 300.0
    assert still.pot == pytest.approx(3e-3)
    assert still.heel == pytest.approx(60e-6)
    assert still.cooling_in == pytest.approx(288.15)
    assert (still.cooling_rise, still.longest, still.startup, still.receivers) == (10.0, 28800.0, 0.0, 5)
    first, mine, one = plan.setups
    assert (first.column, first.name, first.reflux) == ("vigreux 40", None, ())
    assert mine.stages.value == 6.0
    assert mine.stages.u == pytest.approx(1.0 / 1.959964)
    assert mine.holdup.value == pytest.approx(25e-6)
    assert mine.throughput.value == pytest.approx(8e-6 / 60)
    assert mine.reflux == (1.0, 3.5)
    assert (one.stages.value, one.reflux) == (3.0, (2.0,))
    assert first.rows[""] == 29


def test_a_folder_stands_for_its_file(tmp_path):
    (tmp_path / "STILL.toml").write_text(GOOD, encoding="utf-8")
    assert load_still(tmp_path) == load_still(tmp_path / "STILL.toml")


def test_feed_from_a_run_or_from_bottles(tmp_path):
    text = 'composition = { TCE = "40 ± 3 wt%", 127-18-4 = "rest" }'
    run = load(tmp_path, changed(text, 'run = "../charge-7"\nportion = "recycle"'))
    assert run.components == ()
    assert run.feed.run == tmp_path / "../charge-7"
    assert run.feed.portion == "recycle"
    cuts = load(tmp_path, changed(text, 'run = "../charge-7"\ncuts = ["C3", "C4"]'))
    assert cuts.feed.cuts == ("C3", "C4")
    bottles = load(tmp_path, changed(text, 'bottles = ["B1", "B2"]\nstock = "shelf.db"'))
    assert bottles.feed.bottles == ("B1", "B2")
    assert bottles.feed.stock == tmp_path / "shelf.db"


def test_a_run_may_bring_the_target(tmp_path):
    text = GOOD.replace('composition = { TCE = "40 ± 3 wt%", 127-18-4 = "rest" }', 'run = "../charge-7"')
    start, end = text.index("[target]"), text.index("[still]")
    assert load(tmp_path, text[:start] + text[end:]).target is None


@pytest.mark.parametrize(
    "old, new, message",
    [
        ('"40 ± 3 wt%"', '"40 ± 3 %"', "row 7, [feed] composition.TCE: found '40 ± 3 %'"),
        ('"40 ± 3 wt%"', '"rest"', 'one component at most as "rest"'),
        ('"40 ± 3 wt%"', '"130 wt%"', "not above 100 %"),
        ('127-18-4 = "rest"', '127-18-4 = "40 wt%"', "these add to 80 wt%"),
        (', 127-18-4 = "rest"', "", "2 to 5 components"),
        ('127-18-4 = "rest"', 'trichlor = "rest"', "a substance of the catalogue"),
        ('127-18-4 = "rest"', '79-01-6 = "rest"', "each component once"),
        ('mass = "1200 ± 10 g"', "", "the mass of the charge as well"),
        ('mass = "1200 ± 10 g"', 'mass = "-1200 g"', "row 6, [feed] mass"),
        ('mass = "1200 ± 10 g"', 'mass = "1200 g"\nrun = "x"', "only one of composition, run"),
        ('mass = "1200 ± 10 g"', 'mass = "1200 g"\nportion = "recycle"', "run as well"),
        ('mass = "1200 ± 10 g"', 'mass = "1200 g"\nstock = "x.db"', "bottles as well"),
        ('station = "98.6 ± 0.4 kPa"', "", "a pressure, never guessed"),
        ('station = "98.6 ± 0.4 kPa"', 'station = "98.6"', "row 10, [pressure] station"),
        ('bias = "0.8 degC"', 'bias = "80 degC"', "to 20 degrees"),
        ('component = "perchloroethylene"', 'component = "chloroform"', "one of the feed's components"),
        ('component = "perchloroethylene"', "", "component as well"),
        ('purity = "99 wt%"', "", "purity as well"),
        ('purity = "99 wt%"', 'purity = "100 wt%"', "less than 100 wt%"),
        ('heater = "300 W"', 'heater = "0 W"', "more than 0"),
        ('heater = "300 W"', 'heater = "300 W"\nboilup = "9 mL/min"', "heater or boilup, not both"),
        ('pot = "3 L"', 'pot = "50 mL"', "less than the pot holds"),
        ("receivers = 5", "receivers = 0", "a whole number of receivers from 1 to 20"),
        ("receivers = 5", 'receivers = "5"', "a whole number of receivers from 1 to 20"),
        ("receivers = 5", "receivers = 5\nfunnel = 2", "a key out of heater"),
        ('longest = "8 h"', 'longest = "8"', "row 25, [still] longest"),
        ('column = "vigreux 40"', "", "row 29, [[setup]]: expected a column out of the built-in ones"),
        ('stages = "6 ± 1"', 'stages = "6 ± 1"\nrun = "../test"', "run alone, which tells the stages, or stages"),
        ("reflux = [1, 3.5]", "reflux = [-1]", "[[setup]] reflux: found '-1'"),
        ("reflux = [1, 3.5]", "reflux = []", "1 to 20 reflux ratios"),
        ("reflux = [1, 3.5]", 'reflux = ["high"]', "reflux ratios L/D"),
        ('name = "one ratio"', 'name = "mine"', "another name"),
        ('stages = "6 ± 1"', 'stages = "0.5"', "1 to 100 theoretical stages"),
        ("[[setup]]\ncolumn", "[setups]\ncolumn", "a section out of plan, feed"),
        ("[plan]", '[plan]\nrank = "price"', "'kept mass', 'kept mass per hour' or 'heat'"),
        ("[plan]", "[campaign]\nbatches = -2\n[plan]", "a whole number of batches"),
        ("[plan]", "plan = 3\n[plans]", "a section, [plan] on a line of its own"),
        ("[plan]", "[plan", "a [section] or key = value"),
    ],
)
def test_each_fault_has_its_message(tmp_path, old, new, message):
    told = faults(tmp_path, changed(old, new))
    assert any(message in text for text in told), told
    assert all("STILL.toml" in text for text in told)


def test_all_faults_are_told_at_once(tmp_path):
    text = changed('purity = "99 wt%"', 'purity = "x"').replace('"98.6 ± 0.4 kPa"', '"x"').replace('"300 W"', '"x"')
    assert len(faults(tmp_path, text)) == 3


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="a file that exists"):
        load_still(tmp_path / "no.toml")
    with pytest.raises(InputError, match="a file that exists"):
        load_still(tmp_path)


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet='[]{}="\n ± wt%.,0123456789feedmasstarget_', max_size=300))
def test_no_text_leads_to_anything_but_a_fault(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("still") / "STILL.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        load_still(path)


def test_the_schema_names_what_must_be_there():
    schema = StillFile.model_json_schema()
    assert schema["required"] == ["feed", "pressure"]
    assert set(schema["properties"]) == {
        "plan",
        "feed",
        "pressure",
        "thermometer",
        "target",
        "still",
        "setup",
        "campaign",
    }
