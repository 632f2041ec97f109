"""Out and back in again: identical, whatever the texts hold; what was changed on the way is refused."""

from __future__ import annotations

import csv
import json
import shutil
import tempfile
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, given, settings

from fractionkit.errors import InputError
from fractionkit.stock import cells, exchange, open_stock
from fractionkit.stock.acts import Noted
from fractionkit.stock.exchange import content_hash, export_csv, export_json, import_from
from tests.stock.book import HOSTILE, assessment, bought

texts = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40),
)
# What spreadsheets take for a formula when a cell begins so: OWASP, "CSV Injection" (page of the community site).
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@given(texts)
def test_cells_come_back_and_no_text_is_a_formula(text):
    written = cells.cell(text)
    assert cells.text(written) == text
    assert not written.startswith(FORMULA)
    assert not written.lstrip(" ").startswith(FORMULA)
    assert written


def test_nothing_figures_and_bytes():
    assert cells.text(cells.cell(None)) is None
    assert float(cells.cell(0.1 + 0.2)) == 0.1 + 0.2
    assert cells.data(cells.cell(b"\0\xff=")) == b"\0\xff="
    assert cells.data("") is None


@pytest.fixture
def stock(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as opened:
        opened.enter(assessment("=cmd|' /C calc'!A0"), note="-1+1\r\n=2")
        opened.revise(assessment("=cmd|' /C calc'!A0"), "R1")
        opened.receive(
            0.5, bought(), notes=[Noted("stands at", "@shelf"), Noted("water", "+0", 1e-5, 2e-6, 293.15, "")]
        )
        opened.fill("C4", 0.1, name="=B", title="'quoted")
        opened.combine("L1", [("=B", None)], document=json.dumps({"label": ["=1"]}))
        opened.undo()
        yield opened


@pytest.mark.parametrize("form", ["tables", "all.json"])
def test_out_and_in_again_is_identical(tmp_path, stock, form):
    write(stock, tmp_path / form)
    import_from(tmp_path / form, tmp_path / "again.db")
    with open_stock(tmp_path / "again.db") as again:
        assert again.ledger.entries == stock.ledger.entries
        assert again.holdings()[0].known.draws.tolist() == stock.holdings()[0].known.draws.tolist()
        assert again.prove().holds
        again.take("B1", 0.1)  # and it goes on from there
        write(again, tmp_path / f"second {form}")
    with open_stock(tmp_path / "again.db", write=False) as again:
        assert len(again.ledger.entries) == len(stock.ledger.entries) + 1


def write(stock, path):
    (export_json if path.suffix == ".json" else export_csv)(stock.ledger, path)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(texts, texts, texts, st.floats(1e-6, 1.0)), min_size=1, max_size=4))
def test_whatever_people_type_comes_back(said):
    folder = Path(tempfile.mkdtemp())
    try:
        with open_stock(folder / "shelf.db", create=True) as stock:
            for title, remark, where, mass in said:
                stock.receive(
                    mass, bought(), None, title, [Noted("stands at", where), Noted("remark", remark)], None, remark
                )
            write(stock, folder / "tables")
            write(stock, folder / "all.json")
            entries = stock.ledger.entries
        for form in ("tables", "all.json"):
            assert import_from(folder / form, folder / f"{form}.db").entries == entries
            with open_stock(folder / f"{form}.db") as again:
                assert again.ledger.entries == entries
                assert [held.title for held in again.holdings()] == [title for title, *_ in said]
    finally:
        shutil.rmtree(folder)


def test_no_cell_of_the_tables_is_a_formula(tmp_path, stock):
    write(stock, tmp_path / "tables")
    for path in (tmp_path / "tables").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                for column, cell in row.items():
                    assert not cell.lstrip(" ").startswith(FORMULA), (path.name, column, cell)


def test_a_spreadsheets_bom_is_read(tmp_path, stock):
    write(stock, tmp_path / "tables")
    place = tmp_path / "tables" / "place.csv"
    place.write_bytes(b"\xef\xbb\xbf" + place.read_bytes())
    assert import_from(tmp_path / "tables", tmp_path / "again.db").entries == stock.ledger.entries


def change_text(path, old, new):
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))


CHANGES = {
    "a mass": lambda f: change_text(f / "movement.csv", b'"400000000"', b'"400000001"'),
    "a mass that is none": lambda f: change_text(f / "movement.csv", b'"400000000"', b'"much"'),
    "a name": lambda f: change_text(f / "place.csv", b"R1/C1", b"R1/C9"),
    "a column": lambda f: change_text(f / "place.csv", b'"title"', b'"heading"'),
    "a row": lambda f: (f / "reading.csv").write_bytes(b"".join((f / "reading.csv").read_bytes().splitlines(True)[:-1])),
    "a table": lambda f: (f / "origin.csv").unlink(),
    "the draws": lambda f: (f / "origin.csv").write_bytes((f / "origin.csv").read_bytes().replace(b"A", b"B", 1)),
    "not base64": lambda f: change_text(f / "origin.csv", b'=="', b'!!"'),
    "broken quotes": lambda f: change_text(f / "place.csv", b'"supply"', b'"supply'),
    "another encoding": lambda f: change_text(f / "batch.csv", b"R1", b"\xe9"),
    "the list": lambda f: (f / "stock.json").write_text("{}", encoding="utf-8"),
    "a list that is none": lambda f: (f / "stock.json").write_text("[" * 100_000, encoding="utf-8"),
    "a count": lambda f: change_text(f / "stock.json", b'"batch": 1', b'"batch": 2'),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_what_was_changed_on_the_way_is_refused(tmp_path, stock, what):
    write(stock, tmp_path / "tables")
    CHANGES[what](tmp_path / "tables")
    with pytest.raises(InputError) as caught:
        import_from(tmp_path / "tables", tmp_path / "again.db")
    assert "tables" in str(caught.value)
    assert not (tmp_path / "again.db").exists()
    assert [p.name for p in tmp_path.iterdir() if "again" in p.name] == []


def test_nothing_is_written_over(tmp_path, stock):
    write(stock, tmp_path / "tables")
    with pytest.raises(InputError, match="nothing is written over"):
        write(stock, tmp_path / "tables")
    with pytest.raises(InputError, match="nothing is written over"):
        import_from(tmp_path / "tables", tmp_path / "shelf.db")
    with pytest.raises(InputError, match="an export that can be read"):
        import_from(tmp_path / "none", tmp_path / "new.db")
    (tmp_path / "other.json").write_text('{"a": 1}', encoding="utf-8")
    with pytest.raises(InputError, match=exchange.FORMAT):
        import_from(tmp_path / "other.json", tmp_path / "new.db")


def test_the_hash_covers_everything(stock):
    before = content_hash(stock.ledger.entries)
    stock.note("B1", [Noted("remark", "x")])
    assert content_hash(stock.ledger.entries) != before


@pytest.mark.parametrize("text", ["a\0b", "half \ud83d"])
def test_what_no_file_can_hold_is_refused_with_a_message(stock, text):
    count = len(stock.ledger.entries)
    for act in (
        lambda: stock.note("B1", [Noted("remark", text)]),
        lambda: stock.fill("C1", title=text),
        lambda: stock.fill("C1", name=text),
        lambda: stock.take("C1", note=text),
        lambda: stock.take(text),
    ):
        with pytest.raises(InputError, match=r"NUL|whole characters"):
            act()
    assert len(stock.ledger.entries) == count
