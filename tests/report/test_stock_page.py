"""The shelf as a page: what is told, nothing that a person typed is markup, the pictures are whole."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from fractionkit.figures.lineage_chart import MOST, lineage_chart
from fractionkit.report.stock_page import stock_html
from fractionkit.stock import open_stock
from fractionkit.stock.lineage import Link
from tests.stock.book import HOSTILE, assessment

DAY = "2026-06-01"


@pytest.fixture
def shelf(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as stock:
        yield stock


def page(stock) -> str:
    return stock_html(stock, stock.holdings(), DAY)


def test_what_stands_there_and_where_it_came_from(shelf):
    shelf.enter(assessment())
    shelf.combine("L1", [("C4", 0.2), ("C3", 0.1)], "Reclaimed")
    told = page(shelf)
    assert told.count("<svg") == 1  # of the lot; a cut has no lineage of its own
    for text in ("L1", "Reclaimed", "300.0", "200.0 g, 66.7 %", "100.0 g, 33.3 %", "Everything adds up", "Local rules"):
        assert text in told, text
    assert "<script" not in told
    assert "http://" not in told.replace("http://www.w3.org/2000/svg", "")


def test_an_empty_shelf(shelf):
    told = page(shelf)
    assert "Nothing stands on the shelf." in told
    assert "<svg" not in told


@pytest.mark.parametrize("text", [text for text in HOSTILE if text.strip()])
def test_any_text_is_taken_as_text(shelf, text):
    shelf.enter(assessment(text))
    shelf.combine("L1", [("C4", 0.1)], text)
    told = page(shelf)
    assert "<b>&amp;</b> [" not in told
    assert not any(sign in told for sign in "\x1b\x07\u202e")
    for drawn in told.split("<svg")[1:]:
        ElementTree.fromstring("<svg" + drawn.split("</svg>")[0] + "</svg>")


def test_a_large_tree_is_cut_and_counted():
    links = tuple(Link(f"R1/C{k}", "cut", "", 0.01, 1 / 200, ()) for k in range(200))
    drawn = lineage_chart("L<1>", "2000 g", links, "tree")
    ElementTree.fromstring(drawn)
    assert drawn.count("<rect") == MOST + 1
    assert f"and {200 - MOST} smaller ones, not drawn" in drawn
    assert "L&lt;1&gt;" in drawn
