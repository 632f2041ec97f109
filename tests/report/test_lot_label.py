"""The label of a bottle: one page, every hazard statement on it, its code readable by another program, nothing injected."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.errors import InputError
from fractionkit.figures.label_qr import qr_svg
from fractionkit.quantities import Estimate
from fractionkit.report.lot_label import label_html, label_size, labels_html
from fractionkit.report.lot_words import DANGER, NO_SIGNAL, hazards, signal_word
from fractionkit.substances import names
from fractionkit.substances.cautions import hazard_statements
from tests.report.lot_sample import made_lot, release
from tests.report.paper import pages, sheets
from tests.report.sample import HOSTILE

LONG = "A very long name of a lot that nobody would write but somebody will " * 5


def decoded(svg: str) -> list[str]:
    """What zxing-cpp reads in a code, drawn from the SVG path itself at 6 dots a module: segno plays no part in it."""
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])
    path = re.search(r'<path stroke="#000" d="([^"]+)"', svg)[1]
    dark = np.zeros((side, side), dtype=bool)
    x = y = 0.0
    for command, first, second in re.findall(r"([Mmh])(-?[\d.]+)(?: (-?[\d.]+))?", path):
        if command == "M":
            x, y = float(first), float(second)
        elif command == "m":
            x, y = x + float(first), y + float(second)
        else:
            dark[int(y), int(x) : int(x + float(first))] = True
            x += float(first)
    image = np.where(np.kron(dark, np.ones((6, 6), dtype=bool)), 0, 255).astype(np.uint8)
    return [found.text for found in zxingcpp.read_barcodes(image)]


@pytest.mark.parametrize("text", ["L-2026-05-09-1", "Käfer Ω 名前", "x" * 300, 'a<b>&"c'])
def test_another_program_reads_the_code(text):
    assert decoded(qr_svg(text, "Lot")) == [text]


def test_the_code_on_the_label_is_the_lot_number():
    svg = re.search(r"<svg .*?</svg>", label_html(made_lot()), re.DOTALL)[0]
    assert decoded(svg) == ["L-2026-05-09-1"]


def shown(html: str) -> str:
    """The words on the page, without markup."""
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_data(self, data: str) -> None:
            found.append(data)

    Reader().feed(html[html.index("<body>") :])
    return " ".join(" ".join(found).split())


def tags(html: str) -> set[str]:
    """The elements in the body, none of which may carry a handler."""
    found: set[str] = set()

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.add(tag)
            assert not [name for name, _ in attrs if name.startswith("on")]

    Reader().feed(html[html.index("<body>") :])
    return found


def test_what_stands_on_the_label():
    text = shown(label_html(made_lot()))
    for words in (
        "Dichloromethane",
        "Reclaimed material, recovered by distillation",
        "Assay 99.70 (99.46–99.94) wt%",
        "Grade claimed: High purity, by assay alone",
        "566.40 ± 0.59 g · made 2026-05-09 · test again by 2026-11-09",
        "Stabiliser: amylene, 50 mg/kg added again 2026-05-09",
        "Not tested: free halogen, colour",
        "Warning H351 Suspected of causing cancer",
        "Local rules and licensed practice come first.",
    ):
        assert words in text, words


def test_a_lot_that_fails_says_so():
    bad = release().lots[1]
    text = shown(label_html(bad))
    assert "Does not meet 99 wt% tetrachloroethylene" in text
    assert "Stabiliser: none: removed by distilling, not added again" in text
    assert "test again" not in text  # no date was set


@pytest.mark.parametrize("name", [n for n in names() if hazard_statements(n)])
def test_every_hazard_of_every_substance_fits_on_the_label(name):
    other = "chloroform" if name != "chloroform" else "ethanol"
    html = label_html(made_lot(name, other, 0.01))
    assert pages(html) in (1, None)
    text = shown(html)
    for said in hazard_statements(name):
        assert f"{said.code} {said.words}" in text


@pytest.mark.parametrize("hostile", [*HOSTILE, LONG, "W" * 300, ""])
def test_hostile_words(hostile):
    lot = made_lot()
    lot = replace(
        lot,
        number=hostile,
        title=hostile,
        date=hostile,
        label=(lot.label[0], hostile, hostile, hostile),
        stabiliser=replace(lot.stabiliser, added=hostile, added_on=hostile, retest_by=hostile),
        grades=tuple(replace(grade, title=hostile, claimed=True) for grade in lot.grades),
    )
    html = label_html(lot)
    assert pages(html) in (1, None)
    assert "<script" not in html
    assert "<img" not in html
    assert tags(html) <= {"article", "div", "svg", "title", "path", "h1", "p", "b", "strong", "body", "html"}
    assert "\u202e" not in html
    assert "\x1b" not in html


@pytest.mark.parametrize("size", ["100x70", "70 x 50 mm", "148.5×105"])
def test_sizes(size):
    width, height = label_size(size)
    found = sheets(label_html(made_lot(), width=width, height=height))
    assert found is None or found == [(pytest.approx(width, abs=0.1), pytest.approx(height, abs=0.1))]


@pytest.mark.parametrize("typed", ["", "100", "100x", "0x70", "1000x70", "a x b", "-5x70"])
def test_wrong_sizes(typed):
    with pytest.raises(InputError, match="label"):
        label_size(typed)


def test_a_small_label_says_less_but_every_hazard():
    lot = made_lot("trichloroethylene", "chloroform", 0.03)
    html = label_html(lot, width=70, height=50)
    assert pages(html) in (1, None)
    text = shown(html)
    assert "More in the lot report." in text
    assert "Not tested" not in text
    for one in hazards(lot):
        assert f"{one.code} {one.words}" in text


def test_too_small_for_its_words_is_said():
    with pytest.raises(InputError, match="a larger label"):
        label_html(made_lot("chloroform", "carbon tetrachloride", 0.02), width=40, height=40)


def test_one_page_a_lot():
    assert pages(labels_html(release())) in (2, None)


@settings(max_examples=15, deadline=None)
@given(st.text(max_size=120))
def test_any_number_makes_one_page(number):
    html = label_html(replace(made_lot(), number=number))
    assert pages(html) in (1, None)


@pytest.mark.parametrize(
    ("name", "word"),
    # Signal words of Annex VI of the CLP regulation (Dgr, Wng), from memory.
    [("chloroform", "Danger"), ("carbon tetrachloride", "Danger"), ("trichloroethylene", "Danger"),
     ("dichloromethane", "Warning"), ("tetrachloroethylene", "Warning"), ("1,2-dichloroethane", "Danger"),
     ("ethanol", "Danger"), ("acetone", "Danger"), ("chlorobenzene", "Warning")],
)  # fmt: skip
def test_signal_words(name, word):
    assert signal_word(said.code for said in hazard_statements(name)) == word


def test_no_statement_has_two_signal_words():
    assert not DANGER & NO_SIGNAL
    assert signal_word(()) == ""
    assert signal_word(["H411"]) == ""


@pytest.mark.parametrize(("most", "told"), [(0.0009, False), (0.0011, True)])
def test_a_carcinogen_in_it_is_told_from_a_tenth_of_a_per_cent(most, told):
    lot = made_lot("tetrachloroethylene", "trichloroethylene")
    lot = replace(lot, composition={**lot.composition, "trichloroethylene": Estimate(most / 2, 0.0, most)})
    assert any(one.code == "H350" and one.component == "trichloroethylene" for one in hazards(lot)) == told
