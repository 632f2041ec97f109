"""Cautions: complete for every substance, official words, and equal to what was read elsewhere (data/checks)."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import UnknownSubstanceError
from fractionkit.substances import names
from fractionkit.substances.cautions import (
    CAUTION_STATUSES,
    EVERY_CHARGE,
    KINDS,
    Caution,
    cautions,
    exposure_limits,
    hazard_statements,
    headline,
)

CHECKS = Path(__file__).parents[2] / "data" / "checks"
CODE = re.compile(r"(?:EUH\d{3}|H\d{3}[A-Za-z]*(?:\+H\d{3})*)")
CHLORINATED = [name for name in names() if "chloro" in name or name == "carbon tetrachloride"]
ISOMERS = {
    "1,2-dichloroethylene (all isomers)": ("cis-1,2-dichloroethylene", "trans-1,2-dichloroethylene"),
}


def rows(file: str) -> list[dict[str, str]]:
    """The rows of a check table, without its comment lines."""
    text = (CHECKS / file).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in text if not line.startswith("#")))


def of_kind(name: str, kind: str) -> list[Caution]:
    """The lines of one kind that hold for one substance, without those for every charge."""
    return [line for line in cautions([name]) if line.kind == kind and line.substance != EVERY_CHARGE]


def substances_of(row: dict[str, str]) -> tuple[str, ...]:
    return ISOMERS.get(row["substance"], (row["substance"],))


def test_the_catalogue_has_its_27_substances():
    # The list in the task of this issue: 16 chlorinated solvents and 11 of their usual company.
    assert len(names()) == 27
    assert len(CHLORINATED) == 16


@pytest.mark.parametrize("name", names())
def test_every_substance_has_the_obligatory_kinds(name: str):
    obligatory = {"hazard", "exposure limit", "incompatible with", "distilling", "waste"}
    if name in CHLORINATED:
        obligatory |= {"decomposition", "stabiliser"}
    assert {kind for kind in obligatory if not of_kind(name, kind)} == set()


@pytest.mark.parametrize("name", names())
def test_every_line_has_kind_text_source_and_status(name: str):
    for line in cautions([name]):
        assert line.kind in KINDS
        assert line.status in CAUTION_STATUSES
        assert line.text.endswith((".", ".)"))
        assert len(line.source) > 5
        assert line.status != "read in a copy" or not line.source.startswith("common practice")


@pytest.mark.parametrize("name", names())
def test_the_headline_is_one_to_three_short_sentences(name: str):
    text = headline(name)
    assert 20 < len(text) < 200
    assert 1 <= text.count(". ") + 1 <= 3


@pytest.mark.parametrize("name", CHLORINATED)
def test_what_every_chlorinated_solvent_must_say(name: str):
    told = " ".join(line.text for line in cautions([name]))
    for word in ("phosgene", "hydrogen chloride", "sodium", "aluminium", "Never distil to dryness", "drain", "licence"):
        assert word in told


def test_words_of_the_hazard_statements_are_official():
    official = {row["code"]: row["statement"] for row in rows("hazard_statements.csv")}
    told = {line.code: line.words for name in names() for line in hazard_statements(name)}
    assert told == {code: official[code] for code in told}
    assert len(told) >= 30


def test_every_substance_but_water_has_hazard_statements():
    assert [name for name in names() if not hazard_statements(name)] == ["water"]


@pytest.mark.parametrize("row", rows("hazard_codes.csv"), ids=lambda row: row["substance"])
def test_hazard_codes_equal_the_copy(row: dict[str, str]):
    expected = set(CODE.findall(row["H_statements"]))
    for name in substances_of(row):
        assert {line.code for line in hazard_statements(name)} == expected


@pytest.mark.parametrize("row", rows("exposure_limits.csv"), ids=lambda row: row["substance"])
def test_exposure_limits_equal_the_copy(row: dict[str, str]):
    for name in substances_of(row):
        limits = exposure_limits(name)
        assert (limits.rel, limits.pel, limits.idlh) == (row["NIOSH_REL"], row["OSHA_PEL"], row["IDLH"])


def test_limits_that_no_copy_covers_are_marked_so():
    covered = {name for row in rows("exposure_limits.csv") for name in substances_of(row)}
    uncovered = {name for name in names() if name not in covered}
    assert uncovered == {"pentachloroethane", "2-methyl-2-butene", "water"}
    assert all(exposure_limits(name).status != "read in a copy" for name in uncovered)


def test_a_line_is_not_told_as_read_where_the_copy_is_from_memory():
    for row in rows("exposure_limits.csv"):
        if "read in a copy" not in row["status"]:
            assert all(exposure_limits(name).status == "from memory" for name in substances_of(row))


@pytest.mark.parametrize("row", rows("law_dates.csv"), ids=lambda row: f"{row['substance']}: {row['told']}")
def test_law_tells_jurisdiction_and_date(row: dict[str, str]):
    lines = [line.text for line in of_kind(row["substance"], "law") if line.text.startswith(row["jurisdiction"])]
    assert any(row["told"] in text and "(As of " in text for text in lines)


@pytest.mark.parametrize("name", ["carbon tetrachloride", "1,1,1-trichloroethane"])
def test_ozone_law_is_told(name: str):
    told = " ".join(line.text + line.source for line in of_kind(name, "law"))
    assert "Montreal Protocol" in told
    assert "2024/590" in told
    assert "Class I" in told


@pytest.mark.parametrize("name", ["chloroform", "dichloromethane", "toluene", "water"])
def test_ozone_law_is_not_told_of_others(name: str):
    assert "Montreal" not in " ".join(line.text for line in cautions([name]))


def test_lines_shared_by_chlorinated_solvents_are_said_once():
    lines = cautions(["chloroform", "carbon tetrachloride", "trichloroethylene"])
    assert len(lines) == len(set(lines))
    dryness = [line for line in lines if "Never distil to dryness" in line.text]
    assert [line.substance for line in dryness] == ["chlorinated solvents"]
    texts = [line.text for line in lines if line.kind not in ("hazard", "exposure limit")]
    assert len(texts) == len(set(texts))


def test_a_group_of_one_is_called_by_its_name():
    assert {line.substance for line in cautions(["chloroform"])} == {EVERY_CHARGE, "chloroform"}


def test_local_rules_come_first():
    line = cautions(["toluene", "chloroform"])[0]
    assert line.substance == EVERY_CHARGE
    assert "Local rules" in line.text
    assert "licence" in line.text


@pytest.mark.parametrize("ketone", ["acetone", "2-butanone"])
def test_chloroform_with_a_ketone_warns_of_base(ketone: str):
    lines = [line for line in cautions([ketone, "chloroform"]) if line.substance == f"chloroform + {ketone}"]
    assert len(lines) == 1
    assert lines[0].kind == "incompatible with"
    assert "base" in lines[0].text
    assert not [line for line in cautions(["chloroform", "toluene"]) if " + " in line.substance and "base" in line.text]


def test_combinations_need_two_substances():
    # 1,2-dichloroethane burns and is chlorinated: alone it is no combination, nor is a mixture of two that burn.
    assert not [line for line in cautions(["1,2-dichloroethane"]) if " + " in line.substance]
    assert not [line for line in cautions(["1,2-dichloroethane", "chlorobenzene"]) if " + " in line.substance]
    both = cautions(["1,2-dichloroethane", "chloroform"])
    assert [line.kind for line in both if line.substance == "1,2-dichloroethane + chloroform"] == ["distilling"]


@pytest.mark.parametrize(
    "pair, word",
    [
        (("water", "dichloromethane"), "hydrochloric acid"),
        (("2-propanol", "acetone"), "peroxide"),
        (("chlorine", "ethanol"), "hypochlorites"),
        (("chlorine", "chloroform"), "forerun"),
        (("chloroform", "2-methyl-2-butene"), "phosgene"),
        (("chloroform", "ethanol"), "unstabilised"),
        (("chloroform", "methanol"), "strong base"),
    ],
)
def test_combinations(pair: tuple[str, str], word: str):
    for order in (pair, pair[::-1]):
        told = [line.text for line in cautions(order) if set(line.substance.split(" + ")) == set(pair)]
        assert any(word in text for text in told)


def test_synonyms_and_repeats_are_one_substance():
    assert cautions(["67-66-3", "CHLOROFORM", "trichloromethane"]) == cautions(["chloroform"])
    assert cautions("chloroform") == cautions(["chloroform"])


def test_every_source_of_the_files_is_used_and_every_word_too():
    # A source key that nothing names, or a statement that no substance carries, is a leftover of an edit.
    folder = Path(str(resources.files("fractionkit.substances"))) / "data" / "cautions"
    shared = tomllib.loads((folder / "shared.toml").read_text(encoding="utf-8"))
    text = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.toml"))
    named = set(re.findall(r'^source = "([^"]+)"', text, flags=re.MULTILINE))
    assert named <= set(shared["sources"])
    assert set(shared["sources"]) - named == set()
    carried = {line.code for name in names() for line in hazard_statements(name)}
    assert set(shared["statements"]) - carried == set()


def test_nothing_to_distil_still_tells_what_holds_for_every_charge():
    assert {line.substance for line in cautions([])} == {EVERY_CHARGE}


@pytest.mark.parametrize("ask", [headline, hazard_statements, exposure_limits, lambda name: cautions(["water", name])])
def test_an_unknown_substance_offers_the_nearest(ask):
    with pytest.raises(UnknownSubstanceError, match="trichloroethylene"):
        ask("trichlorethilene")


@given(st.lists(st.sampled_from(names()), unique=True, max_size=6))
def test_any_sheet_has_distinct_lines_and_every_substance(chosen: list[str]):
    lines = cautions(chosen)
    assert len(lines) == len(set(lines))
    for name in chosen:
        assert any(line.substance == name and line.kind == "hazard" for line in lines)
    # The set of lines does not depend on the order of the sheet, apart from the order of names in a combination.
    turned = {(line.kind, line.text, line.source) for line in cautions(chosen[::-1])}
    assert turned == {(line.kind, line.text, line.source) for line in lines}


def test_no_guidance_on_making_anything():
    # "Write the caution only": no amounts of reagents, no conditions of a synthesis.
    forbidden = re.compile(r"\b(add \d|\d+ (?:mL|g) of|equivalents?|yield|reflux with|to prepare|to make \w+ from)\b")
    for line in cautions(names()):
        assert not forbidden.search(line.text), line.text


def test_reading_three_substances_reads_four_files_and_no_heavy_package():
    code = (
        "import sys, builtins, pathlib\n"
        "read = []\n"
        "keep = pathlib.Path.read_text\n"
        "pathlib.Path.read_text = lambda self, *a, **k: (read.append(self.name), keep(self, *a, **k))[1]\n"
        "from fractionkit.substances.cautions import cautions\n"
        "cautions(['chloroform', 'carbon tetrachloride', 'ethanol'])\n"
        "print(sorted(name for name in read if name.endswith('.toml')))\n"
        "print([name for name in ('thermo', 'chemicals', 'scipy', 'pandas', 'rich') if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    files, heavy = done.stdout.splitlines()
    assert files == "['carbon-tetrachloride.toml', 'chloroform.toml', 'ethanol.toml', 'shared.toml']"
    assert heavy == "[]"
