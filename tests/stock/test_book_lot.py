"""A lot that was made up elsewhere is booked: parents leave their places, papers stay."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fractionkit.errors import InputError
from fractionkit.quantities import Estimate
from fractionkit.release.model import MadeLot, Parent, Stabiliser
from fractionkit.stock import default_path, open_stock
from fractionkit.stock.paths import VARIABLE
from tests.stock.book import BINARY, assessment


def lot(*parents, number="L-1"):
    taken = tuple(Parent(origin, name, 1.0, mass, {}) for origin, name, mass in parents)
    return MadeLot(
        number, "Recovered", "2026-05-10", BINARY, BINARY[1], 0.99, 0.95, taken, sum(p.mass for p in taken), 1e-4,
        Estimate(0.995, 0.993, 0.997), {}, 0.99, True, np.zeros((4, 2)), (), ("At least 99.3 wt%",),
        Stabiliser("amine", "thymol", "2026-05-10", "2026-11-10", "thymol added"), (), (), (), (),
    )  # fmt: skip


@pytest.fixture
def stock(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "invented").mkdir()
    (tmp_path / "invented" / "run.toml").touch()
    with open_stock(tmp_path / "shelf.db", create=True) as opened:
        opened.enter(assessment())
        opened.fill("C3", 0.1)
        yield opened


@pytest.mark.parametrize("origin", ["invented/run.toml", "invented", "R1", "Invented run"])
def test_parents_are_found_by_path_folder_number_or_title(stock, origin):
    assert stock.book_lot(lot((origin, "C4", 0.35), ("shelf", "B1", 0.05))) == "L-1"
    held = stock.holding("L-1")
    assert held.mass == pytest.approx(0.4)
    assert (held.stabiliser, held.retest_by, held.title) == ("thymol", "2026-11-10", "Recovered")
    assert stock.holding("R1/C4").mass == 0.0
    document = json.loads(stock.ledger.papers(held.place)[0].document)
    assert document["label"] == ["At least 99.3 wt%"]
    assert stock.prove().holds


def test_several_lots_in_one_entry_share_their_parents(stock):
    """As the command for lots does it: all are booked, or none."""
    from fractionkit.stock.lot import book_lot

    def book(*lots):
        return stock.write("lot made", lambda draft: [book_lot(draft, made).name for made in lots])

    with pytest.raises(InputError, match=r"at most 50\.0 g"):
        book(lot(("R1", "C4", 0.3)), lot(("R1", "C4", 0.1), number="L-2"))
    assert "L-1" not in stock.names
    assert book(lot(("R1", "C4", 0.3)), lot(("R1", "C4", 0.05), number="L-2")) == ["L-1", "L-2"]
    assert stock.holding("L-2").mass == pytest.approx(0.05)
    stock.undo()
    assert stock.holding("R1/C4").mass == pytest.approx(0.35)
    assert stock.prove().holds


def test_what_cannot_be_booked_is_refused_whole(stock):
    with pytest.raises(InputError, match="enter it first"):
        stock.book_lot(lot(("elsewhere", "C4", 0.35)))
    with pytest.raises(InputError, match="found 'C9'"):
        stock.book_lot(lot(("R1", "C9", 0.35)))
    with pytest.raises(InputError, match=r"at most 200\.0 g"):
        stock.book_lot(lot(("R1", "C4", 0.35), ("R1", "C3", 0.3)))
    assert stock.holding("R1/C4").mass == pytest.approx(0.35)
    stock.book_lot(lot(("R1", "C4", 0.35)))
    with pytest.raises(InputError, match="another name: L-1 has this one"):
        stock.book_lot(lot(("R1", "C3", 0.1)))
    with pytest.raises(InputError, match=r"what it held went to L-1 \(entry 4\)"):
        stock.book_lot(lot(("R1", "C4", 0.1), number="L-2"))


def test_the_logbook_lies_where_the_system_keeps_such_files(tmp_path):
    place = lambda environment, platform: default_path(environment, platform, tmp_path)  # noqa: E731
    assert place({}, "linux") == tmp_path / ".local/share/fractionkit/stock.sqlite"
    assert place({"XDG_DATA_HOME": "/data"}, "linux").as_posix() == "/data/fractionkit/stock.sqlite"
    assert place({"XDG_DATA_HOME": "not/absolute"}, "linux") == tmp_path / ".local/share/fractionkit/stock.sqlite"
    assert place({}, "darwin") == tmp_path / "Library/Application Support/fractionkit/stock.sqlite"
    assert place({"APPDATA": "C:/Users/a/Roaming"}, "win32").as_posix().endswith("Roaming/fractionkit/stock.sqlite")
    assert place({VARIABLE: "mine.db"}, "linux").as_posix() == "mine.db"
