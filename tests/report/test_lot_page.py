"""The lot report: everything it must say, on a desk, a phone and paper; nothing that a person typed runs or breaks it."""

from __future__ import annotations

import re
import sys
from dataclasses import fields, replace
from html.parser import HTMLParser
from importlib.machinery import ModuleSpec
from pathlib import Path

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.figures.lot_frontier import frontier_chart
from fractionkit.release.model import Frontier
from fractionkit.report.lot_page import lot_html
from fractionkit.report.lot_words import chance, claim, not_tested, origin
from fractionkit.report.pdf import pdf_bytes, write_pdf
from tests.report.lot_sample import TESTS, made_lot, release
from tests.report.paper import pages, sheets
from tests.report.sample import HOSTILE

EMPTY = ("area", "br", "col", "img", "link", "meta", "path", "use")


class Page(HTMLParser):
    """Words and elements of a page; an element that is closed in the wrong place is an error."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.open: list[str] = []
        self.feed(html)
        assert not self.open, self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not [name for name, _ in attrs if name.startswith("on")], attrs
        assert not [value for name, value in attrs if name in ("src", "action", "formaction")]
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def page() -> Page:
    return Page(lot_html(release()))


@pytest.mark.parametrize(
    "words",
    [
        "Lot L-2026-05-09-1: Parts-washer recovery, May (invented)",
        "✓ Meets 99 wt% dichloromethane",
        "✗ Does not meet 99 wt% tetrachloroethylene",
        "over 99.9 %; 95 % was asked for. The risk that it is accepted falsely is below 0.1 %.",
        "Reclaimed material: recovered by distillation",
        "566.40 ± 0.59 g",
        "(95 % interval)",
        "C7 (62 %), C8, B-12",
        "Parts-washer recovery, charge 7 (runs/charge-7/run.toml)",
        "Shelf: Bottle of April",
        "amylene, 50 mg/kg, on 2026-05-09",
        "2026-11-09",
        "Brown glass, full, closed",
        "no; distilling removes it",
        "Attribute Method Result (95 %) Limit Rule Verdict Conforms / risk",
        "Computed from composition, not measured",
        "1.318 to 1.322 (25/25 °C)",
        "✓ meets",
        "– not tested",
        "? undecided",
        "Guarded acceptance (JCGM 106:2012, 8.3)",
        "Karl Fischer titration",
        "read in a copy",
        "Limit from memory",
        "The lot takes all of it with 862 g more like C8",
        "Cost per kg kept 11.20 EUR",
        "NIST Monograph 150, eq. 10",
        "Vapour pressure of dichloromethane",
        "Never distil to dryness",
        "Local rules and licensed practice come first.",
    ],
)
def test_what_the_report_says(page: Page, words: str):
    assert words.lower() in page.text.replace("\u00a0", " ").lower()


def test_not_tested():
    assert not_tested(made_lot())[:2] == ["free halogen", "colour"]  # the stabiliser was weighed in, the rest is tested
    bare = replace(made_lot(), tests=(), stabiliser=release().lots[1].stabiliser)
    assert not_tested(bare)[:6] == [
        "water",
        "acidity",
        "free halogen",
        "stabiliser",
        "residue on evaporation",
        "colour",
    ]


def test_a_risk_goes_with_every_number_that_is_met():
    for lot in release().lots:
        for grade in lot.grades:
            for line in grade.attributes:
                met = line.verdict == "meets" and line.probability is not None
                assert (" / " in chance(line)) == met


def test_a_claim_says_what_was_computed():
    grade = made_lot().grades[0]
    met = replace(grade, claimed=True, missing=())
    assert claim(met) == "Every attribute is met: it may be claimed. Computed, not measured: relative density."
    assert claim(grade).startswith("Not claimed. Relative density: undecided")


def test_one_file_that_fetches_nothing():
    html = lot_html(release())
    assert "default-src 'none'" in html
    assert not re.search(r"<(script|link|img|iframe|object|embed)\b", html)
    assert not re.search(r"url\((?!#)", html)
    assert "@import" not in html


def hostile_release(text: str):
    """A release in which every text that a person can type is ``text``."""

    def spoilt(thing: object) -> object:
        changes = {}
        for field in fields(thing):  # type: ignore[arg-type]
            value = getattr(thing, field.name)
            if field.name in ("target", "components", "composition", "verdict", "rule", "grade", "cautions", "tests"):
                continue
            if isinstance(value, str):
                changes[field.name] = text
            elif isinstance(value, tuple) and value and isinstance(value[0], str):
                changes[field.name] = (text,) * len(value)
            elif isinstance(value, tuple) and value and hasattr(value[0], "__dataclass_fields__"):
                changes[field.name] = tuple(spoilt(one) for one in value)
            elif hasattr(value, "__dataclass_fields__"):
                changes[field.name] = spoilt(value)
        return replace(thing, **changes)  # type: ignore[type-var]

    made = release()
    tests = tuple(replace(test, method=text) for test in TESTS)
    lots = tuple(replace(spoilt(lot), tests=tests) for lot in made.lots)
    left = tuple(spoilt(one) for one in made.left)
    economics = tuple((text, text) for _ in made.economics)
    return replace(
        made, title=text, lots=lots, left=left, economics=economics, flags=tuple(spoilt(f) for f in made.flags)
    )


@pytest.mark.parametrize("text", [*HOSTILE, "", "A" * 300, "very long words " * 20])
def test_hostile_words_are_words(text):
    html = lot_html(hostile_release(text))
    found = Page(html)
    assert "script" not in found.tags
    assert "img" not in found.tags
    assert "\u202e" not in html
    assert "\x1b" not in html
    assert "49" not in re.findall(r"\{\{.*?\}\}|\b49\b", found.text)


def test_paper():
    found = sheets(lot_html(release()))
    assert found is None or len(found) >= 4
    for width, height in found or ():
        assert (width, height) == (pytest.approx(210, abs=0.2), pytest.approx(297, abs=0.2))


def test_hostile_paper():
    made = hostile_release("A" * 60)
    first = replace(made.lots[0], cautions=(), grades=made.lots[0].grades[1:2])
    found = pages(lot_html(replace(made, lots=(first,), left=())))
    assert found is None or 2 <= found <= 6


def test_pdf_is_written_or_refused_in_words(tmp_path: Path):
    """Where WeasyPrint and Pango are, a PDF; where not, one message and no file."""
    path = tmp_path / "lot.pdf"
    try:
        write_pdf(path, "<p>Lot</p>")
    except InputError as error:
        assert "WeasyPrint" in str(error)  # noqa: PT017
        assert not path.exists()
    else:
        assert path.read_bytes().startswith(b"%PDF-")
        with pytest.raises(InputError, match="there is no folder"):
            write_pdf(tmp_path / "none" / "lot.pdf", "<p>Lot</p>")


class _Refuses:
    """An importer of weasyprint that fails as Python does without the package, or without Pango."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def find_spec(self, name: str, path: object = None, target: object = None) -> ModuleSpec | None:
        if name == "weasyprint":
            raise self.error
        return None


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (ModuleNotFoundError("No module named 'weasyprint'"), r'not installed: pip install "fractionkit\[pdf\]"'),
        (OSError("cannot load library 'libpango-1.0-0'"), "the library Pango .* cannot load library 'libpango-1.0-0'"),
    ],
)
def test_without_the_libraries(monkeypatch: pytest.MonkeyPatch, error: Exception, told: str):
    for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [_Refuses(error), *sys.meta_path])
    with pytest.raises(InputError, match=told) as wrong:
        pdf_bytes("<p>Lot</p>")
    assert wrong.value.exit_code == 2
    assert "\n" not in str(wrong.value)


def test_no_lot_and_nothing_else():
    html = lot_html(release(lots=(), left=(), frontiers=(), economics=(), flags=()))
    assert "✗ No lot was made" in Page(html).text


def test_a_lot_without_grades_label_tests_and_storage():
    bare = replace(made_lot(), grades=(), label=(), tests=(), storage=(), corrections=(), constants=(), cautions=())
    text = Page(lot_html(release(lots=(bare,)))).text
    for words in (
        "The lot was held against no grade.",
        "No purity may be claimed.",
        "No reading was corrected.",
        "Grades claimed none",
        "that is no sign that they are harmless",
    ):
        assert words in text


def test_frontier_of_one_point_and_of_none():
    one = Frontier("chloroform", np.array([0.99]), np.array([0.2]), 0.95, 0.99)
    assert "<svg" in frontier_chart(one)
    none = Frontier("chloroform", np.array([]), np.array([]))
    assert "How much could be kept" not in lot_html(release(frontiers=(none,)))


def test_where_a_cut_comes_from():
    cut, _, bottle = made_lot().parents
    assert origin(cut) == "Parts-washer recovery, charge 7 (runs/charge-7/run.toml)"
    assert origin(replace(cut, title="")) == "runs/charge-7/run.toml"
    assert origin(replace(bottle, title="")) == "Shelf"
