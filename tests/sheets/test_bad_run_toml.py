"""Every fault of run.toml: where it stands, what was found, what is expected. Rows counted by hand in RUN."""

from __future__ import annotations

import pytest

from fractionkit.errors import InputError
from fractionkit.sheets import load_run
from tests.sheets.sheet_files import RUN, changed, faults, write

PRESSURE = 'station = "98.6 ± 0.4 kPa"'
COMPONENTS = '["trichloroethylene", "tetrachloroethylene"]'
CHARGE = 'mass = "1480 g"'
BIAS = 'bias = "0.8 degC"'
DENSITY = 'bias = "0.0008 g/mL"'
DATE = "date = 2026-05-09"

# what is replaced, by what; row and column of the fault; the value found; words of the message
CASES = {
    "pressure in a unit of mass": (PRESSURE, 'station = "98.6 g"', 13, "[pressure] station", "98.6 g", "kPa, hPa"),
    "pressure without unit": (PRESSURE, "station = 98.6", 13, "[pressure] station", "98.6", "with its unit"),
    "hPa written as kPa": (PRESSURE, 'station = "1013 kPa"', 13, "[pressure] station", "1013 kPa", "20 to 200 kPa"),
    "no pressure": (PRESSURE, "", 12, "[pressure]", None, "never guessed"),
    "altitude alone": (PRESSURE, 'altitude = "640 m"', 12, "[pressure]", None, "never guessed"),
    "sea level without altitude": (
        PRESSURE, 'sea_level = "1019 hPa"', 13, "[pressure] sea_level", "1019 hPa", "altitude as well",
    ),
    "station and sea level": (
        PRESSURE, PRESSURE + '\nsea_level = "1019 hPa"\naltitude = "640 m"',
        14, "[pressure] sea_level", "1019 hPa", "not both",
    ),
    "unknown substance": (
        COMPONENTS, '["trichlorethylen", "tetrachloroethylene"]',
        4, "[run] components", "trichlorethylen", "trichloroethylene",
    ),
    "what does not boil": (
        COMPONENTS, '["mineral oil", "tetrachloroethylene"]', 4, "[run] components", "mineral oil", "weighed with the residue",
    ),
    "far from any name": (
        COMPONENTS, '["qqqq", "tetrachloroethylene"]', 4, "[run] components", "qqqq", "`fractionkit substance` lists them",
    ),
    "one component": (COMPONENTS, '["tetrachloroethylene"]', 4, "[run] components", None, "two or more components"),
    "no component": (COMPONENTS, "[]", 4, "[run] components", "[]", "two or more components"),
    "synonyms of one substance": (
        COMPONENTS, '["perc", "trichloroethylene", "tetrachloroethylene"]',
        4, "[run] components", "tetrachloroethylene", "'perc' is the same substance",
    ),
    "components as one text": (COMPONENTS, '"a, b"', 4, "[run] components", "a, b", 'like ["trichloroethylene"'),
    "no components": (f"components = {COMPONENTS}\n", "", 1, "[run] components", None, "substances in the charge"),
    "target not a component": (
        'component = "tetrachloroethylene"', 'component = "toluene"',
        24, "[target] component", "toluene", "trichloroethylene, tetrachloroethylene",
    ),
    "purity above 100 %": ('"99 wt%"', '"120 wt%"', 25, "[target] purity", "120 wt%", "not above 100 %"),
    "purity of 100 %": ('"99 wt%"', '"100 wt%"', 25, "[target] purity", "100 wt%", "less than 100 wt%"),
    "purity of 0": ('"99 wt%"', '"0 wt%"', 25, "[target] purity", "0 wt%", "more than 0"),
    "purity without unit": ('"99 wt%"', "99", 25, "[target] purity", "99", "like '99 wt%'"),
    "purity missing": ('purity = "99 wt%"', "", 23, "[target]", None, "purity as well"),
    "confidence too low": ("confidence = 0.95", "confidence = 0.5", 26, "[target] confidence", "0.5", "above 0.5"),
    "confidence of 1": ("confidence = 0.95", "confidence = 1", 26, "[target] confidence", "1", "below 1"),
    "confidence NaN": ("confidence = 0.95", "confidence = nan", 26, "[target] confidence", "nan", "probability"),
    "confidence true": ("confidence = 0.95", "confidence = true", 26, "[target] confidence", "true", "probability"),
    "test of an unknown cut": ('cut = "C2"', 'cut = "C22"', 29, "[[test]] cut", "C22", "C1, C2, C3"),
    "test result": ('"negative"', '"none"', 31, "[[test]] result", "none", "'positive' or 'negative'"),
    "test without limit": ('detection_limit = "0.3 wt%"', "", 28, "[[test]]", None, "detection_limit as well"),
    "test in single brackets": ("[[test]]", "[test]", 28, "[test]", "{ cut = ", "double brackets"),
    "result of an unknown cut": (
        "[[test]]", '[[result]]\ncut = "C7"\ncomponent = "perc"\nfraction = "97 wt%"\n[[test]]',
        29, "[[result]] cut", "C7", "C1, C2, C3",
    ),
    "result without fraction": (
        "[[test]]", '[[result]]\ncut = "C2"\ncomponent = "perc"\n[[test]]', 28, "[[result]]", None, "fraction as well",
    ),
    "order of distillation": (DATE, 'order = "heavy"', 3, "[run] order", "heavy", "'light to heavy', or 'any'"),
    "negative charge": (CHARGE, 'mass = "-3 g"', 7, "[charge] mass", "-3 g", "not below 0"),
    "zero charge": (CHARGE, 'mass = "0 g"', 7, "[charge] mass", "0 g", "more than 0"),
    "infinite charge": (CHARGE, "mass = inf", 7, "[charge] mass", "inf", "like '1480 g'"),
    "huge charge": (CHARGE, 'mass = "1e99 g"', 7, "[charge] mass", "1e99 g", "too large"),
    "feed over 100 %": (
        CHARGE, 'composition = { trichloroethylene = "70 wt%", perc = "40 wt%" }',
        7, "[charge] composition", '{ trichloroethylene = "70 wt%", perc = "40 wt%" }', "110 wt%",
    ),
    "feed of all components under 100 %": (
        CHARGE, 'composition = { trichloroethylene = "20 wt%", perc = "40 wt%" }',
        7, "[charge] composition", None, "these add to 60 wt%",
    ),
    "feed names one twice": (
        CHARGE, 'composition = { tetrachloroethylene = "20 wt%", perc = "40 wt%" }',
        7, "[charge] composition", "perc", "each component once",
    ),
    "feed names another substance": (
        CHARGE, 'composition = { toluene = "20 wt%" }',
        7, "[charge] composition.toluene", "toluene", "run's components",
    ),
    "charge density without temperature": (
        CHARGE, 'density = "1.5 g/mL"', 7, "[charge] density", "1.5 g/mL", "density_temp as well",
    ),
    "gravity without basis": (
        CHARGE, 'density = "1.5 sg"\ndensity_temp = "20 °C"', 7, "[charge] density", "1.5 sg", "sg20/20",
    ),
    "section misspelt": ("[thermometer]", "[thermomter]", 15, "[thermomter]", "thermomter", "'thermometer'"),
    "key misspelt": (BIAS, 'bais = "0.8 degC"', 16, "[thermometer] bais", "bais", "'bias'"),
    "half-width with ±": (BIAS, 'bias = "0.8 ± 0.1 degC"', 16, "[thermometer] bias", "0.8 ± 0.1 degC", "without ±"),
    "half-width of 0": (BIAS, 'bias = "0 degC"', 16, "[thermometer] bias", "0 degC", "from 0.001"),
    "half-width of nothing": (BIAS, 'bias = "1e-300 degC"', 16, "[thermometer] bias", "1e-300 degC", "from 0.001"),
    "half-width of a pressure": (BIAS, 'bias = "1 kPa"', 16, "[thermometer] bias", "1 kPa", "°C"),
    "stem half told": (BIAS, "stem = { exposed = 60 }", 16, "[thermometer] stem", "{ exposed = 60 }", "temperature"),
    "stem key misspelt": (
        BIAS, 'stem = { exposed = 60, temperatur = "30 degC" }', 16, "[thermometer] stem.temperatur", None,
        "'temperature'",
    ),
    "corrected twice": (
        BIAS, 'correction = "-0.4 degC"\nice_point = "0.2 °C"', 16, "[thermometer] correction", None, "not both",
    ),
    "vessel half told": (
        DENSITY, 'vessel = "flask"\nempty_mass = "30 g"', 19, "[density]", None, "water_mass and water_temp as well",
    ),
    "vessel lighter with water": (
        DENSITY, 'empty_mass = "30 g"\nwater_mass = "20 g"\nwater_temp = "20 °C"',
        21, "[density] water_mass", "20 g", "more than empty",
    ),
    "vessel without filled masses": (
        DENSITY, 'empty_mass = "30 g"\nwater_mass = "55 g"\nwater_temp = "20 °C"',
        21, "[density] water_mass", "55 g", "column filled_mass",
    ),
    "vessel against method": (
        DENSITY, 'method = "meter"\nvessel = "flask"', 21, "[density] vessel", "flask", "same as method",
    ),
    "refractometer error": (BIAS, "[refractive_index]\nbias = 3", 17, "[refractive_index] bias", "3", "to 0.1"),
    "date": (DATE, 'date = "tomorrow"', 3, "[run] date", "tomorrow", "2026-05-09"),
    "title a number": ('"Charge 7"', "7", 2, "[run] title", "7", "quotation marks"),
    "hold-up empty": ("[residue]", "[holdup]\n[residue]", 9, "[holdup]", None, "mass ="),
    "key where a section belongs": ("[run]\n", "holdup = 3\n[run]\n", 1, "[holdup]", "3", "line of its own"),
    "text not closed": ('"Charge 7"', '"Charge 7', 2, None, 'title = "Charge 7', "no TOML"),
    "text without quotes": ('"Charge 7"', "Charge 7", 2, None, "title = Charge 7", "quotation marks"),
    "number without end": ('"Charge 7"', "9" * 5000, None, None, None, "no TOML"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case)
def test_a_fault_is_told_with_place_value_and_expectation(case, tmp_path):
    old, new, row, column, value, words = CASES[case]
    found = faults(write(tmp_path, changed(RUN, old, new)))
    told = [fault for fault in found if words in fault.expected]
    assert told, [str(fault) for fault in found]
    fault = told[0]
    assert (fault.row, fault.column) == (row, column)
    assert fault.file == str(tmp_path / "run.toml")
    if value is not None:
        assert fault.value is not None
        assert fault.value.startswith(value)
    assert "\n" not in str(fault)


def test_refused_sections_do_not_hide_each_other(tmp_path):
    run = changed(RUN, PRESSURE, 'station = "98.6 g"')
    run = changed(run, '"99 wt%"', '"120 wt%"')
    run = changed(run, 'cut = "C2"', 'cut = "C9"')
    run = changed(run, BIAS, 'bais = "0.8 degC"')
    found = faults(write(tmp_path, run))
    assert [(fault.row, fault.value) for fault in found] == [
        (13, "98.6 g"), (16, "bais"), (25, "120 wt%"), (29, "C9"),
    ]  # fmt: skip


def test_two_faults_of_one_section_and_one_of_the_cuts(tmp_path):
    run = changed(RUN, CHARGE, 'composition = { toluen = "20 wt%", perc = "140 wt%" }')
    cuts = "cut,mass\nC1,3\nC2,-4\n"
    found = faults(write(tmp_path, run, cuts))
    assert [(fault.column, fault.row) for fault in found] == [
        ("[charge] composition.perc", 7), ("[charge] composition.toluen", 7), ("mass", 3),
    ]  # fmt: skip


def test_bad_toml_still_tells_the_faults_of_the_cuts(tmp_path):
    found = faults(write(tmp_path, "[run\n", "cut,mass\nC1,-3\n"))
    assert [(fault.file, fault.row) for fault in found] == [
        (str(tmp_path / "run.toml"), 1), (str(tmp_path / "cuts.csv"), 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "old, new, row, words",
    [
        (CHARGE, "mass = 1480 g", 7, 'quantities in quotation marks, like mass = "1480 g"'),
        (CHARGE, "mass = \u201c1480 g\u201d", 7, "straight quotation marks"),
        (DATE, "date = 11.04.2026", 3, "a date like 2026-05-09"),
        (DATE, "date = 2026/04/11 # spring", 3, "a date like 2026-05-09"),
        ("[residue]", "[charge]", 9, "each section and each key once"),
        (CHARGE, CHARGE + "\n" + CHARGE, 8, "each section and each key once"),
    ],
)
def test_slips_that_make_it_no_toml_are_told_by_what_is_right(old, new, row, words, tmp_path):
    (fault,) = faults(write(tmp_path, changed(RUN, old, new)))
    assert fault.row == row
    assert words in fault.expected


def test_the_table_given_in_place_of_the_run(tmp_path):
    with pytest.raises(InputError, match="this is a table of cuts"):
        load_run(write(tmp_path) / "cuts.csv")


def test_bad_toml_without_cuts_is_one_fault(tmp_path):
    assert len(faults(write(tmp_path, "[run\n", None))) == 1


def test_shares_rounded_or_with_their_own_doubt_may_miss_100(tmp_path):
    from fractionkit.sheets import load_run

    for shares in ('trichloroethylene = "30.1 wt%", perc = "70 wt%"', 'tce = "30 ± 5 wt%", perc = "74 ± 5 wt%"'):
        run = load_run(write(tmp_path, changed(RUN, CHARGE, f"composition = {{ {shares} }}")))
        assert run.charge is not None
        assert set(run.charge.composition) == {"trichloroethylene", "tetrachloroethylene"}
