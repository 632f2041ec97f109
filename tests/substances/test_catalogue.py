"""The catalogue: loading, looking up, the equations' own properties. Values are checked in tests/published."""

from __future__ import annotations

import importlib
import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fractionkit.errors import InputError, UnknownSubstanceError
from fractionkit.substances import Substance, catalogue, find, get, names, spread
from fractionkit.substances.catalogue import DATA, canonical_name, index, key, slug
from fractionkit.substances.datafile import read_substance
from fractionkit.substances.model import FAMILIES, STATUSES
from fractionkit.substances.refresh import build_index, data_files

ALL = catalogue()
BY_NAME = pytest.mark.parametrize("substance", ALL, ids=lambda s: s.name)

# IUPAC 2007 standard atomic weights, g/mol, from memory.
ATOMIC_WEIGHTS = {"C": 12.0107, "H": 1.00794, "Cl": 35.453, "O": 15.9994}
# Registry numbers, from memory; the check digit below guards against a slip of the pen in either place.
CAS_NUMBERS = {
    "dichloromethane": "75-09-2",
    "chloroform": "67-66-3",
    "carbon tetrachloride": "56-23-5",
    "trichloroethylene": "79-01-6",
    "tetrachloroethylene": "127-18-4",
    "water": "7732-18-5",
    "chlorine": "7782-50-5",
    "hexachloroethane": "67-72-1",
}


def test_catalogue_holds_what_the_trade_needs() -> None:
    assert set(names()) >= {
        "dichloromethane",
        "chloroform",
        "carbon tetrachloride",
        "1,1-dichloroethane",
        "1,2-dichloroethane",
        "1,1,1-trichloroethane",
        "1,1,2-trichloroethane",
        "1,1,2,2-tetrachloroethane",
        "pentachloroethane",
        "hexachloroethane",
        "cis-1,2-dichloroethylene",
        "trans-1,2-dichloroethylene",
        "trichloroethylene",
        "tetrachloroethylene",
        "1,2-dichloropropane",
        "chlorobenzene",
        "ethanol",
        "methanol",
        "2-propanol",
        "acetone",
        "2-butanone",
        "ethyl acetate",
        "2-methyl-2-butene",
        "toluene",
        "hexane",
        "water",
        "chlorine",
    }
    assert {s.name for s in ALL if s.dissolved} >= {"hexachloroethane", "chlorine"}


def test_public_names() -> None:
    import fractionkit.substances as room

    assert {"get", "find", "catalogue", "names", "canonical_name", "spread", "Substance"} <= set(room.__all__)
    assert all(hasattr(room, name) for name in room.__all__)


@BY_NAME
def test_cas_check_digit(substance: Substance) -> None:
    # The rule of the CAS registry: the last digit is the weighted sum of the others, from the right, modulo 10.
    digits = substance.cas.replace("-", "")
    total = sum(place * int(digit) for place, digit in enumerate(reversed(digits[:-1]), start=1))
    assert total % 10 == int(digits[-1])
    assert CAS_NUMBERS.get(substance.name, substance.cas) == substance.cas


@BY_NAME
def test_molar_mass_is_that_of_the_formula(substance: Substance) -> None:
    parts = re.findall(r"([A-Z][a-z]?)(\d*)", substance.formula)
    assert "".join(symbol + count for symbol, count in parts) == substance.formula
    expected = sum(ATOMIC_WEIGHTS[symbol] * int(count or 1) for symbol, count in parts)
    assert substance.molar_mass.value * 1e3 == pytest.approx(expected, abs=0.001)
    assert substance.molar_mass.unit == "kg/mol"


@BY_NAME
def test_every_number_has_source_status_and_uncertainty(substance: Substance) -> None:
    items = [
        substance.molar_mass,
        substance.boiling_point,
        substance.vapour_pressure,
        substance.density,
        substance.heat_of_vaporization,
    ]
    if substance.refractive_index is not None:
        items.append(substance.refractive_index)
    for item in items:
        assert len(item.source) > 10
        assert item.status in STATUSES
    assert substance.family in FAMILIES
    uncertainties = [substance.molar_mass.u, substance.boiling_point.u, substance.density.u]
    assert all(u > 0 for u in (*uncertainties, substance.vapour_pressure.u_ln, substance.heat_of_vaporization.u))
    assert all(sentence.endswith(".") for sentence in substance.conflicts)
    assert all(len(outlier.reason) > 10 for outlier in substance.outliers)


def test_conflicts_that_must_be_told() -> None:
    for name, word in (
        ("chloroform", "Density"),
        ("trichloroethylene", "Density"),
        ("trichloroethylene", "Boiling point"),
        ("1,1-dichloroethane", "Boiling point"),
        ("1,1,1-trichloroethane", "Vapour pressure"),
        ("1,2-dichloroethane", "Vapour pressure"),
        ("water", "Vapour pressure"),
    ):
        assert any(sentence.startswith(word) for sentence in get(name).conflicts), (name, word)


# ---- looking up ----------------------------------------------------------------------------------------------------

# Names of the trade: common practice, no source.
TRADE = {
    "DCM": "dichloromethane",
    "methylene chloride": "dichloromethane",
    "Methylene-Chloride": "dichloromethane",
    "perc": "tetrachloroethylene",
    "PCE": "tetrachloroethylene",
    "perchloroethylene": "tetrachloroethylene",
    "TCE": "trichloroethylene",
    "carbon tet": "carbon tetrachloride",
    "EDC": "1,2-dichloroethane",
    "ethylene dichloride": "1,2-dichloroethane",
    "1 2 dichloroethane": "1,2-dichloroethane",
    "methyl chloroform": "1,1,1-trichloroethane",
    "IPA": "2-propanol",
    "isopropanol": "2-propanol",
    "MEK": "2-butanone",
    "EtOAc": "ethyl acetate",
    "EtOH": "ethanol",
    "CHCl3": "chloroform",
    "CHCl₃": "chloroform",
    "n-hexane": "hexane",
    "amylene": "2-methyl-2-butene",
    " 67-66-3 ": "chloroform",
    "107-06-2": "1,2-dichloroethane",
    "(Z)-1,2-dichloroethene": "cis-1,2-dichloroethylene",
}


@pytest.mark.parametrize("text, name", TRADE.items())
def test_names_of_the_trade(text: str, name: str) -> None:
    assert get(text).name == name
    assert get(text.upper()) is get(name)


@pytest.mark.parametrize(
    "text, candidates",
    [
        ("dichloroethane", ["1,1-dichloroethane", "1,2-dichloroethane"]),
        ("trichloroethane", ["1,1,1-trichloroethane", "1,1,2-trichloroethane"]),
        ("tetrachloroethane", ["1,1,2,2-tetrachloroethane"]),
        ("1,2-dichloroethylene", ["cis-1,2-dichloroethylene", "trans-1,2-dichloroethylene"]),
        ("tetra", ["carbon tetrachloride", "tetrachloroethylene"]),
        ("chlorofrom", ["chloroform"]),
        ("trichlorethylene", ["trichloroethylene"]),
        ("tolune", ["toluene"]),
    ],
)
def test_ambiguous_and_misspelt_names_are_refused_with_what_may_be_meant(text: str, candidates: list[str]) -> None:
    with pytest.raises(UnknownSubstanceError) as caught:
        get(text)
    for candidate in candidates:
        assert candidate in str(caught.value)
    assert repr(text) in str(caught.value)


@given(st.text(max_size=40))
def test_any_text_gives_a_substance_or_one_clear_refusal(text: str) -> None:
    known = {key(entry) for s in ALL for entry in (s.name, s.cas, *s.synonyms)}
    if key(text) in known:
        assert canonical_name(text) in names()
        return
    with pytest.raises(UnknownSubstanceError) as caught:
        canonical_name(text)
    assert len(caught.value.faults) == 1
    assert "\n" not in str(caught.value)


def test_no_name_stands_for_two_substances() -> None:
    owner: dict[str, str] = {}
    for substance in ALL:
        for text in (substance.name, substance.cas, *substance.synonyms):
            assert owner.setdefault(key(text), substance.name) == substance.name, text
    for text in index()["ambiguous"]:
        assert key(text) not in owner, text


def test_find_lists_all_that_contain_a_text() -> None:
    assert [s.name for s in find("dichloroethane")] == ["1,1-dichloroethane", "1,2-dichloroethane"]
    assert find("zzz") == ()
    assert find("") == ()


# ---- files and index -----------------------------------------------------------------------------------------------


def test_index_and_data_files_agree() -> None:
    assert (DATA / "index.json").read_text("utf-8") == build_index(), "run python -m fractionkit.substances.refresh"
    assert [path.stem for path in data_files()] == [slug(name) for name in names()]
    assert json.loads(build_index())["substances"].keys() == {s.name for s in ALL}


def test_looking_up_reads_only_the_files_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # the package exports the function catalogue(), which hides the module of that name from attribute access
    module = importlib.import_module("fractionkit.substances.catalogue")

    read: list[str] = []

    def noted(path: Path) -> Substance:
        read.append(path.name)
        return read_substance(path)

    monkeypatch.setattr(module, "read_substance", noted)
    module._read.cache_clear()
    assert module.canonical_name("perc") == "tetrachloroethylene"
    assert read == []
    module.get("perc")
    module.get("PCE")
    assert read == ["tetrachloroethylene.toml"]


def test_three_substances_load_within_a_cold_lookup_budget() -> None:
    from fractionkit.substances.catalogue import _keys, _read

    best = 1.0
    for _ in range(5):
        for cache in (index, _keys, _read):
            cache.cache_clear()
        begin = time.perf_counter()
        for text in ("perc", "TCE", "carbon tet"):
            get(text)
        best = min(best, time.perf_counter() - begin)
    assert best < 0.015


def test_room_is_light_to_import() -> None:
    code = (
        "import sys, fractionkit.substances as s; s.get('perc'); "
        "print([m for m in ('thermo', 'chemicals', 'scipy', 'pandas', 'CoolProp') if m in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"


@pytest.mark.parametrize(
    "old, new, told",
    [
        ("value = 61.17", 'value = "warm"', "boiling_point.value"),
        ("u = 0.05", "u = 0", "boiling_point.u"),
        ('family = "chloroalkane"', 'family = "solvent"', "family"),
        ("A = 8.96288\n", "", "vapour_pressure.A"),
        ("range = [10, 50]", "range = [50, 10]", "density.range"),
        ('cas = "67-66-3"', "cas = 67", "cas"),
        ("[density]", "[densty]", "density"),
        ('name = "chloroform"', 'name = "chloroform', "TOML"),
    ],
)
def test_a_wrong_data_file_is_told_by_file_and_key(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = (DATA / "chloroform.toml").read_text("utf-8")
    assert old in text
    path = tmp_path / "chloroform.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(InputError) as caught:
        read_substance(path)
    assert "chloroform.toml" in str(caught.value)
    assert told in str(caught.value)


# ---- spread ----------------------------------------------------------------------------------------------------


def test_spread_is_the_stored_table() -> None:
    rows = spread("chloroform")
    assert rows is get("CHCl3").sources
    found = {(row.property, row.source): row.value for row in rows if row.temperature in (None, 293.15)}
    # chemicals 1.5.2, vapour pressure of Yaws 2014: 334.33 K
    assert found["boiling_point", "Yaws 2014"] == pytest.approx(334.33)
    assert {row.property for row in rows} == {
        "boiling_point",
        "density",
        "refractive_index",
        "heat_of_vaporization",
    }
