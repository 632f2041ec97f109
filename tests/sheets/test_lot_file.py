"""Reading LOT.toml: good sheets, and every fault with row and key."""

import datetime
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.sheets.lot_file import load_lot, lot_file
from fractionkit.sheets.lot_model import AddedStabiliser, Effort
from fractionkit.sheets.lot_tests import KINDS, read_result

DATA = Path(__file__).parents[2] / "data"
SHEET = """\
[lot]
title = "Heart of May"
date = 2026-05-10
number = "H-7"
bottles = ["B1", "B2"]

[[run]]
path = "run"
cuts = ["C7", "C8", "C7"]

[[target]]
component = "perchloroethylene"
purity = "99.5 wt%"
confidence = 0.9
rule = "rounded"
grade = ["laboratory"]
whole = true
most = "2 kg"
least_part = 0.1
"""


def write(folder, text=SHEET):
    shutil.copytree(DATA / "demo_binary", folder / "run", dirs_exist_ok=True)
    (folder / "LOT.toml").write_text(text, encoding="utf-8")
    return folder


def faults(folder, text):
    with pytest.raises(InputError) as caught:
        load_lot(write(folder, text))
    return [str(fault) for fault in caught.value.faults]


def test_a_good_sheet(tmp_path):
    sheet = load_lot(write(tmp_path))
    assert (sheet.title, sheet.number, sheet.date) == ("Heart of May", "H-7", datetime.date(2026, 5, 10))
    assert sheet.bottles == ("B1", "B2")
    (run,) = sheet.runs
    assert run.path == tmp_path / "run" / "run.toml"
    assert run.cuts == ("C7", "C8")
    (target,) = sheet.targets
    assert (target.component, target.purity, target.confidence) == ("tetrachloroethylene", 0.995, 0.9)
    assert (target.rule, target.grades, target.whole, target.least, target.most) == (
        "rounded",
        ("laboratory",),
        True,
        0.1,
        2.0,
    )
    assert target.step == pytest.approx(0.001)  # the last digit of 99.5 wt%


def test_the_demo_sheet():
    sheet = load_lot(DATA / "demo_lot")
    assert [target.price for target in sheet.targets] == [9.5, 6.0]
    assert sheet.stabiliser == AddedStabiliser(
        "thymol", "0.01 wt%", datetime.date(2026, 5, 10), datetime.date(2026, 11, 10), 0
    )
    assert sheet.economics.effort == Effort(10800.0, 2.4 * 3.6e6)
    assert sheet.another_pass.kept.value == pytest.approx(0.26)
    assert [(test.attribute, test.target) for test in sheet.tests] == [("water", 0), ("acidity", 0)]


def test_all_faults_at_once_with_row_and_key(tmp_path):
    told = faults(
        tmp_path,
        """\
[lot]
titel = "x"
stock = "nowhere.sqlite"

[[run]]
path = "not there"

[[target]]
component = "perchlorethylen"
purity = "99"
price = "dear"

[[target]]
component = "chloroform"
purity = "99 wt%"
price = 3

[[test]]
attribute = "watr"
result = "0.01 %"
lot = 7

[stabiliser]
added = "ethanol"
date = 2026-05-10
retest = 2026-05-01

[economics]
labour = "3 h"
energy_price = -1

[another_pass]
energy = "1 kWh"
""",
    )
    text = "\n".join(told)
    for place, words in (
        ("row 2, [lot] titel", "did you mean 'title'"),
        ("row 3, [lot] stock", "a file that exists"),
        ("row 6, [[run]] path", "the folder of a run"),
        ("row 9, [[target]] component", "tetrachloroethylene"),
        ("row 10, [[target]] purity", "wt%"),
        ("row 11, [[target]] price", "without quotation marks"),
        ("row 19, [[test]] attribute", "did you mean 'water'"),
        ("row 21, [[test]] lot", "the number of a [[target]]"),
        ("row 26, [stabiliser] retest", "a date after"),
        ("row 29, [economics] labour", "labour_rate"),
        ("row 30, [economics] energy_price", "0 or more"),
        ("row 32, [another_pass]", "kept"),
    ):
        assert any(place in line and words in line for line in told), (place, text)


@pytest.mark.parametrize(
    "text, expected",
    [
        ("", "something to make a lot of"),
        ("[lot]\n", "what the lot must be: [[target]]"),
        ('[lot]\nbottles = ["B1", "B1"]\n', "each bottle once"),
        ('[lot]\nbottles = ["B1"]\n[[target]]\npurity = "99 wt%"\n', "component as well"),
        ('[lot]\nnumber = ""\n', "1 to 60 characters"),
        ("[lot]\nnumber = 7\n", "in quotation marks"),
        ('[[run]]\npath = "run"\n[[run]]\npath = "./run/run.toml"\n', "each run once"),
        ("[[run]]\ncuts = []\n", "path as well"),
        ("lot = 3\n", "a section, [lot]"),
        ('[[test]]\nmethod = "x"\n', "attribute and result as well"),
        ("[[target\n", "a [section] or key = value"),
        ("[economics]\nnew_price = inf\n", "0 or more"),
    ],
)
def test_faults_one_by_one(tmp_path, text, expected):
    assert any(expected in line for line in faults(tmp_path, text))


def test_one_text_may_stand_without_brackets(tmp_path):
    alone = SHEET.replace('["B1", "B2"]', '"B1"').replace('["laboratory"]', '"laboratory"')
    alone = alone.replace('cuts = ["C7", "C8", "C7"]', 'cuts = "C8"').replace("[lot]", '[lot]\nstorage = "dark"')
    sheet = load_lot(write(tmp_path, alone))
    assert (sheet.bottles, sheet.storage, sheet.runs[0].cuts) == (("B1",), ("dark",), ("C8",))
    assert sheet.targets[0].grades == ("laboratory",)


def test_a_test_is_counted_by_the_targets_of_the_sheet_though_they_are_at_fault(tmp_path):
    """One target whose purity is at fault is still one: lot 1 is right, lot 2 is not."""
    text = '[[run]]\npath = "run"\n[[target]]\ncomponent = "perc"\npurity = "99 %"\n[[test]]\nattribute = "water"\n'
    one, two = (faults(tmp_path, f'{text}result = "30 mg/kg"\nlot = {number}\n') for number in (1, 2))
    assert not any("[[test]] lot" in line for line in one)
    assert any("[[test]] lot" in line and "lot = 1" in line for line in two)


def test_prices_of_all_targets_or_of_none(tmp_path):
    two = SHEET + 'price = 3.0\n\n[[target]]\ncomponent = "chloroform"\npurity = "99 wt%"\n'
    assert any("a price of every target, or of none" in line for line in faults(tmp_path, two))


def test_what_is_a_sheet_of_a_lot_and_what_a_run(tmp_path):
    folder = write(tmp_path)
    assert lot_file(folder) == folder / "LOT.toml"
    assert lot_file(folder / "run") is None
    assert lot_file(folder / "run" / "run.toml") is None
    other = folder / "heart.toml"
    other.write_text(SHEET, encoding="utf-8")
    assert lot_file(other) == other
    with pytest.raises(InputError, match=r"a folder with a LOT\.toml"):
        load_lot(folder / "run")


@pytest.mark.parametrize(
    "attribute, text, value, high",
    [
        ("water", "0.008 ± 0.002 wt%", 8e-5, None),
        ("water", "80 mg/kg", 8e-5, None),
        ("residue", "< 0.001 wt%", 0.0, 1e-5),
        ("boiling range", "58.0 to 62.5 °C", 331.15, 335.65),
        ("boiling range", "58.0–62.5 degC", 331.15, 335.65),
        ("boiling range", "331.15 K to 335.65 K", 331.15, 335.65),
        ("density", "1.482 ± 0.001 g/mL", 1482.0, None),
        ("colour", "10 Pt-Co", 10.0, None),
        ("colour", "< 5 APHA", 0.0, 5.0),
        ("assay", "99.2 ± 0.3 wt%", 0.992, None),
    ],
)
def test_results_as_people_write_them(attribute, text, value, high):
    found, end = read_result(attribute, text)
    assert found.value == pytest.approx(value)
    assert (end if high is None else end.value) == (None if high is None else pytest.approx(high))


@pytest.mark.parametrize(
    "attribute, words",
    [("colour", "clear and colourless"), ("acidity", "neutral"), ("free halogen", "absent"), ("odour", "0 remarks")],
)
def test_results_in_words(attribute, words):
    assert read_result(attribute, words) == (words, None)


@pytest.mark.parametrize("attribute, text", [("water", "0.01 %"), ("density", "heavy"), ("boiling range", "60 to")])
def test_results_that_say_nothing(attribute, text):
    with pytest.raises(InputError):
        read_result(attribute, text)


@given(st.sampled_from(sorted(KINDS)), st.text(max_size=30))
def test_any_text_is_a_result_or_a_fault(attribute, text):
    try:
        found, _ = read_result(attribute, text)
    except InputError:
        return
    assert isinstance(found, str) or found.value >= 0.0 or attribute == "colour"


@given(st.text(max_size=300))
def test_any_text_is_a_sheet_or_faults(tmp_path_factory, text):
    file = tmp_path_factory.mktemp("lots") / "LOT.toml"
    file.write_text(text, encoding="utf-8", errors="replace", newline="")
    with pytest.raises(InputError):
        load_lot(file)
