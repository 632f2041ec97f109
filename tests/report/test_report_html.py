"""The report: one file that fetches nothing, holds everything, and takes what users type as text only."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.assessment.model import Assessment, Finding
from fractionkit.figures.labels import plain
from fractionkit.quantities import Estimate, format_probability
from fractionkit.report import html, words
from tests.report.sample import HOSTILE, TERNARY, bare, evil, hostile, sample

VOID = {"meta", "br", "link", "img", "hr", "input"}


class Reader(HTMLParser):
    """Balanced tags, attributes, and the text outside of style."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        assert len(attrs) == len(dict(attrs)), f"an attribute twice in {tag}"
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def flat(page: str) -> str:
    return " ".join(" ".join(read(page).text).split())


RUNS = {
    "binary": lambda: sample(),
    "ternary": lambda: sample(TERNARY, count=30),
    "many": lambda: sample(count=300),
    "hostile": hostile,
    "no_target": lambda: sample(target=False),
    "no_lot": lambda: sample(lot=False),
    "no_mass": lambda: sample(masses=False),
    "bare": bare,
}


@cache
def written(name: str) -> tuple[Assessment, str]:
    """A run and its page, drawn once for all tests."""
    run = RUNS[name]()
    return run, html(run)


@pytest.fixture(params=list(RUNS))
def any_page(request):
    return written(request.param)


def test_page_is_whole_accessible_and_self_contained(any_page):
    _, page = any_page
    reader = read(page)
    names = [tag for tag, _ in reader.tags]
    assert page.startswith("<!DOCTYPE html>")
    assert names.count("h1") == names.count("main") == 1
    assert not {"script", "img", "link", "iframe", "object", "embed", "form", "base", "foreignobject"} & set(names)
    ids = [attributes["id"] for _, attributes in reader.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in reader.tags:
        assert not any(name.startswith("on") for name in attributes)
        for name in ("href", "xlink:href"):
            if name in attributes:
                assert attributes[name].startswith("#")
                assert attributes[name][1:] in ids
        assert "src" not in attributes
        if tag == "th":
            assert attributes["scope"] in {"col", "row"}
        if tag == "svg":
            assert attributes["role"] == "img"
            assert set(attributes["aria-labelledby"].split()) <= set(ids)
    assert names.count("figure") == names.count("figcaption")
    policy = [a["content"] for _, a in reader.tags if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'; img-src data:"]


def test_no_address_but_names_of_standards_and_sources_as_text(any_page):
    _, page = any_page
    for tag, attributes in read(page).tags:
        for name, value in attributes.items():
            if name.startswith("xmlns"):
                assert value in {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
            else:
                assert "http:" not in str(value), tag
                assert "https:" not in str(value), tag
                assert "//" not in str(value), tag
    style = page[page.index("<style>") : page.index("</style>")]
    assert not re.search(r"@import|url\(|//|expression", style)


def test_every_cut_stands_in_the_table(any_page):
    run, page = any_page
    text = flat(page)
    for cut in run.cuts:
        assert " ".join(plain(cut.name).split()) in text
        assert words.sentence(cut.reason) in text


def test_what_users_typed_is_text(recwarn):
    text = flat(html(hostile()))
    for name in HOSTILE:
        assert " ".join(plain(name).split()) in text
    for place in (
        "date", "source", "flag", "label", "untested", "reason", "tool", "unit", "found", "what", "size",
        "origin", "constant", "value", "book", "substance", "kind", "caution", "paper",
    ):  # fmt: skip
        assert evil(place) in text, place
    assert '<b>bold</b> & "title" {{ 1 }}' in text
    assert "49" not in plain(HOSTILE[5])
    assert not recwarn.list


@settings(max_examples=12, deadline=None)
@given(st.text(max_size=40), st.text(max_size=40))
def test_any_text_is_taken_as_text(title, name):
    run = bare()
    page = html(replace(run, title=title, cuts=(replace(run.cuts[0], name=name, reason=title),)))
    reader = read(page)
    heading = " ".join(plain(title).split()) or "Untitled run"
    assert heading in " ".join(" ".join(reader.text).split())
    assert not any("\u202a" <= sign <= "\u202e" or (ord(sign) < 32 and sign != "\n") for sign in page)


def test_answer_comes_first_and_says_what_is_claimed_and_what_not():
    run, page = written("binary")
    text = flat(page)
    order = [
        "The lot meets the target", "449.4 g", "99.33 (99.01–99.59) wt%", "97.3 %", run.lot.label[0], "Not tested",
        run.flags[0].text, "Reason", "What goes elsewhere", "Charge = cuts + residue + hold-up + loss",
        "thermometer reads 0.52 K low", "emergent stem", "87.2 ± 0.2 °C", "H350 may cause cancer",
    ]  # fmt: skip
    places = [text.index(part) for part in order]
    assert places == sorted(places)
    for part in (
        *run.lot.not_tested,
        *run.lot.label,
        *(c.text for c in run.cautions),
        *(c.source for c in run.constants),
    ):
        assert part in text
    assert text.count(words.LOCAL_RULES) == 2


def test_a_lot_that_fails_is_not_dressed_up():
    run = sample()
    failing = replace(run, lot=replace(run.lot, probability_meets_target=0.9496, meets_target=False))
    text = flat(html(failing))
    assert "✗ The lot does not meet the target" in text
    assert "94.9 %" in text
    assert "✓" not in text
    assert "✗ Nothing meets the target" in flat(written("no_lot")[1])
    assert "No purity may be claimed." in flat(written("no_lot")[1])
    assert "Not graded" in flat(written("bare")[1])


def _luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.1 (W3C Recommendation, 5 June 2018), "relative luminance"."""
    parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_against_the_standard():
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.1: contrast ratios range from 1 to 21
    assert _contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the well-known lightest grey, from memory


def test_text_stands_out():
    page = written("binary")[1]
    colours = dict(re.findall(r"--(\w+): (#[0-9A-Fa-f]{6})", page))
    for text in ("ink", "soft", "deep"):
        for ground in (colours["paper"], colours["panel"], "#fdf5e3"):
            assert _contrast(colours[text], ground) >= 4.5
    for drawn in re.findall(r'<text style="[^"]*?fill: (#[0-9a-f]{6})', page):
        assert _contrast(drawn, "#ffffff") >= 4.5


def test_probability_is_never_rounded_up():
    assert format_probability(0.94999) == "94.9 %"
    assert format_probability(0.95) == "95.0 %"
    assert format_probability(0.0004) == "< 0.1 %"
    assert format_probability(0.99999) == "> 99.9 %"
    assert format_probability(None) == format_probability(float("nan")) == "–"


@given(st.floats(0.001, 0.999))
def test_probability_text_is_at_most_the_probability(probability):
    shown = float(format_probability(probability).removesuffix(" %")) / 100
    assert probability - 0.001 - 1e-9 <= shown <= probability + 1e-9


def test_intervals_that_may_be_negative_are_readable():
    after = Estimate(-0.52, -0.71, -0.33)
    thermometer = Finding("thermometer", "K", after, after, "")
    assert words.finding_interval(thermometer, after) == "-0.52 (-0.71 to -0.33) K"
    hydrometer = replace(thermometer, instrument="density", unit="kg/m3")
    assert words.finding_interval(hydrometer, after) == "-0.52 (-0.71 to -0.33) mg/mL"
    barometer = replace(thermometer, instrument="pressure", unit="Pa")
    assert words.finding_interval(barometer, Estimate(-200.0, -600.0, 200.0)) == "-0.20 (-0.60 to 0.20) kPa"
    assert words.head_range(273.15, float("nan")) == "from 0.0"
    assert words.head_range(float("nan"), 373.15) == "to 100.0"


def test_every_rule_of_style_meets_something_in_the_page():
    """A selector that meets nothing is a slip of the pen: it once took the style of captions away."""
    page = "".join(written(name)[1] for name in ("ternary", "binary", "no_lot", "bare"))
    style = page[page.index("<style>") + 7 : page.index("</style>")]
    tags = set(re.findall(r"<([a-z]+[0-9]?)", page))
    classes = set(" ".join(re.findall(r'class="([^"]*)"', page)).split())
    assert style.count("{") == style.count("}")
    for selector in re.findall(r"([^{}]+)\{", style):
        if selector.strip().startswith("@"):
            continue
        plain_selector = re.sub(r"::?[a-z-]+|\[[^]]*\]", "", selector)
        assert set(re.findall(r"\.([a-z]+)", plain_selector)) <= classes | {"long"}, selector
        assert set(re.findall(r"(?<![.a-z])([a-z]+[0-9]?)(?![a-z])", plain_selector)) <= tags, selector
