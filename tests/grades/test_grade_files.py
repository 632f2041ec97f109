"""Grade files: what ships is whole and says where it comes from; a user's file is read, its faults told all at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.grades import chosen, load_grades
from fractionkit.grades.attributes import ATTRIBUTES, attribute_named
from fractionkit.grades.file import built_in
from fractionkit.grades.judge import all_grades, known
from fractionkit.grades.model import STATUSES
from fractionkit.substances import names

HOUSE = """
[grade]
name = "house-degreasing"
title = "House grade for the parts washer"
components = ["trichloroethene", "127-18-4"]
source = "shop sheet 12"
status = "our own"

[[limit]]
attribute = "purity"
low = "97 wt%"

[[limit]]
attribute = "density"
low = "1.45 g/mL"
temperature = "25 degC"

[[limit]]
attribute = "distilling range"
low = "84 degC"
high = "92 degC"
span = "5 degC"

[[limit]]
attribute = "odour"
accept = ["as usual"]
"""


def test_every_built_in_limit_says_where_it_comes_from():
    for grade in built_in():
        assert grade.title
        assert grade.source
        assert grade.limits
        assert grade.status in STATUSES
        assert set(grade.components) <= set(names())
        for limit in grade.limits:
            assert limit.source
            assert limit.status in STATUSES


def test_published_figures():
    """Each figure as the source prints it (sources in the files; USP, BP, UNEP and ACS read in copies)."""
    typed = {
        (grade.name, limit.attribute, end): getattr(limit, end).text
        for grade in built_in()
        for limit in grade.limits
        for end in ("low", "high")
        if getattr(limit, end) is not None
    }
    assert typed["usp-dichloromethane", "assay", "low"] == "99.0 wt%"
    assert typed["usp-dichloromethane", "density", "low"] == "1.318 sg25/25"
    assert typed["usp-dichloromethane", "density", "high"] == "1.322 sg25/25"
    assert typed["usp-dichloromethane", "water", "high"] == "0.02 wt%"
    assert typed["usp-dichloromethane", "acidity", "high"] == "0.001 wt%"
    assert typed["usp-dichloromethane", "residue", "high"] == "0.002 wt%"
    assert typed["bp-reagent-chloroform", "density", "low"] == "1.475 sg20/20"
    assert typed["bp-reagent-chloroform", "density", "high"] == "1.481 sg20/20"
    assert typed["bp-reagent-chloroform", "stabiliser", "low"] == "0.4 wt%"
    assert typed["bp-reagent-chloroform", "stabiliser", "high"] == "1.0 wt%"
    assert typed["montreal-carbon-tetrachloride", "assay", "low"] == "99.5 wt%"
    assert typed["montreal-1,1,1-trichloroethane", "assay", "low"] == "99.0 wt%"
    assert typed["acs-trichloroethylene", "assay", "low"] == "99.5 wt%"
    assert typed["gost-carbon-tetrachloride-higher", "water", "high"] == "0.0025 wt%"
    assert typed["federal-trichloroethylene", "density", "low"] == "1.450 sg25/25"
    assert typed["federal-trichloroethylene", "boiling range", "low"] == "86.0 degC"


def test_known_and_chosen():
    assert known("chloroform") == ("bp-reagent-chloroform", "high-purity", "laboratory", "technical")
    assert [grade.name for grade in chosen(["technical", "technical"], "chloroform")] == ["technical"]
    with pytest.raises(InputError, match="did you mean 'laboratory'") as wrong:
        chosen(["labratory", "usp-dichloromethane"], "chloroform")
    assert len(wrong.value.faults) == 2


def test_own_file(tmp_path: Path):
    file = tmp_path / "house.toml"
    file.write_text(HOUSE, encoding="utf-8")
    (grade,) = load_grades(file)
    assert grade.components == ("trichloroethylene", "tetrachloroethylene")
    assert [limit.attribute for limit in grade.limits] == ["assay", "density", "boiling range", "odour"]
    assert grade.limits[1].temperature == pytest.approx(298.15)
    assert load_grades(tmp_path) == (grade,)
    assert known("trichloroethylene", (grade,))[0] == "house-degreasing"
    replaced = file.read_text().replace("house-degreasing", "technical")
    file.write_text(replaced, encoding="utf-8")
    mine = load_grades(file)
    assert [g.source for g in all_grades("trichloroethylene", mine) if g.name == "technical"] == ["shop sheet 12"]


BROKEN = """
[grade]
name = "broken"
components = ["chlorofrom"]
status = "hearsay"
colour = "blue"

[[limit]]
attribute = "assay"
low = "99 %"

[[limit]]
attribute = "density"
low = "1.48 g/mL"
high = "1.47 g/mL"

[[limit]]
attribute = "density"
low = "1.48 sg20/20"
high = "1.49 sg25/25"
temperature = "20 degC"

[[limit]]
attribute = "odour"
high = "3 wt%"

[[limit]]
attribute = "water"
high = "0.02 ± 0.01 wt%"
span = "2 degC"
substance = "ethanol"

[[limit]]
low = "1 wt%"

[[limit]]
attribute = "colour"
accept = []
"""


def test_all_faults_at_once(tmp_path: Path):
    file = tmp_path / "broken.toml"
    file.write_text(BROKEN, encoding="utf-8")
    with pytest.raises(InputError) as wrong:
        load_grades(file)
    told = str(wrong.value)
    assert all(fault.file == str(file) for fault in wrong.value.faults)
    for words in (
        "title, source as well",
        "chlorofrom",
        "'read in a copy', 'from memory' or 'our own'",
        "a key out of name, title",
        "per cent of what is not said",
        'temperature = "20 degC" as well',
        "at least as much as low",
        "the same unit and basis as low",
        "temperature only with a density in g/mL",
        "each attribute once",
        "is tested in words",
        "a limit without ±",
        "span only with a boiling range",
        "substance only with a stabiliser",
        'attribute = "..." as well',
        "one or more words",
    ):
        assert words in told, words


def test_two_files_of_one_name(tmp_path: Path):
    for file in ("a.toml", "b.toml"):
        (tmp_path / file).write_text(HOUSE, encoding="utf-8")
    with pytest.raises(InputError, match=r"a name of its own; a\.toml has it too"):
        load_grades(tmp_path)


def test_missing_and_empty(tmp_path: Path):
    with pytest.raises(InputError, match="a file that exists"):
        load_grades(tmp_path / "none.toml")
    with pytest.raises(InputError, match="a folder with a grade in it"):
        load_grades(tmp_path)


@given(st.sampled_from(sorted(ATTRIBUTES)))
def test_synonyms_mean_their_attribute(name: str):
    made = ATTRIBUTES[name]
    for word in (name, made.title.upper(), *made.synonyms):
        assert attribute_named(f"  {word} ") == name


@given(text=st.text(max_size=300))
def test_any_text_is_refused_or_read(tmp_path_factory: pytest.TempPathFactory, text: str):
    file = tmp_path_factory.mktemp("grade") / "any.toml"
    file.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(InputError):
        load_grades(file)
