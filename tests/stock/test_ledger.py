"""Any sequence of movements conserves mass, and undoing all of it returns to where it began."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, rule

from fractionkit.errors import InputError
from fractionkit.stock import acts, lineage, open_stock
from fractionkit.stock.campaign import campaign
from fractionkit.stock.ledger import share
from fractionkit.stock.rows import STANDING
from tests.stock.book import assessment, bought

masses = st.one_of(st.none(), st.floats(1e-8, 0.5))


@given(st.dictionaries(st.integers(1, 40), st.integers(1, 10**13), min_size=1, max_size=12), st.data())
def test_share_is_exact_and_never_more_than_there_is(content, data):
    total = sum(content.values())
    mass = data.draw(st.integers(1, total))
    parts = share(content, mass)
    assert sum(parts.values()) == mass
    for key, amount in content.items():
        exact = amount * mass / total
        assert 0 <= parts.get(key, 0) <= amount
        assert abs(parts.get(key, 0) - exact) <= 1 + 1e-9 * exact
    assert share(content, total) == content


class Shelf(RuleBasedStateMachine):
    """Everything that the shelf can do, in any order; what does not fit is refused and changes nothing."""

    places = Bundle("places")

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.stock = open_stock(self.folder / "shelf.db", create=True)
        self.runs = 0

    def teardown(self) -> None:
        proof = self.stock.prove()
        assert proof.holds, proof
        self.undo_everything()
        self.stock.close()
        shutil.rmtree(self.folder)

    def undo_everything(self) -> None:
        """Last first, so that nothing hangs on what is undone."""
        while any(entry.booking.id > 1 for entry in self.stock.ledger.holding):
            self.stock.undo()
        state = self.stock.ledger.state()
        assert not any(state.content.values())
        assert not state.came
        assert self.stock.holdings() == ()
        assert self.stock.prove().holds

    def attempt(self, act):
        before = self.stock.ledger
        try:
            return act()
        except InputError:
            assert len(self.stock.ledger.entries) == len(before.entries)
            return None

    @initialize(target=places)
    def begin(self):
        self.stock.enter(assessment("first"))
        return "R1/C1"

    @rule(target=places, bottle=places)
    def distil_again(self, bottle):
        self.runs += 1
        made = self.attempt(lambda: self.stock.enter(assessment(f"run {self.runs}"), [(bottle, None)]))
        return f"{made.name}/C{1 + self.runs % 4}" if made else bottle

    @rule()
    def assess_anew(self):
        self.attempt(lambda: self.stock.revise(assessment("first"), "R1"))

    @rule(target=places, mass=st.floats(1e-6, 2.0))
    def receive(self, mass):
        return self.stock.receive(mass, bought()).name

    @rule(target=places, source=places, mass=masses)
    def fill(self, source, mass):
        made = self.attempt(lambda: self.stock.fill(source, mass))
        return made.name if made else source

    @rule(source=places, end=places, mass=masses)
    def pour(self, source, end, mass):
        self.attempt(lambda: self.stock.pour(source, end, mass))

    @rule(target=places, source=places, other=places, mass=masses)
    def combine(self, source, other, mass):
        number = f"lot {len(self.stock.ledger.entries)}"
        made = self.attempt(lambda: self.stock.combine(number, [(source, mass), (other, None)]))
        return made.name if made else source

    @rule(source=places, mass=masses, way=st.sampled_from(["use", "sell", "dispose"]))
    def take(self, source, mass, way):
        self.attempt(lambda: self.stock.take(source, mass, way, "somebody" if way == "sell" else None))

    @rule(source=places, factor=st.floats(0.5, 1.1))
    def weigh(self, source, factor):
        self.attempt(lambda: self.stock.weigh(source, factor * self.stock.holding(source).mass))

    @rule(source=places, attribute=st.sampled_from([acts.STABILISER, acts.RETEST, acts.STANDS, acts.DENSITY]))
    def note(self, source, attribute):
        self.attempt(lambda: self.stock.note(source, [acts.Noted(attribute, "2026-05-09", 1500.0, 1.0, 293.15)]))

    @rule(number=st.one_of(st.none(), st.integers(0, 40)))
    def undo(self, number):
        self.attempt(lambda: self.stock.undo(number))

    @invariant()
    def every_question_is_answered(self):
        ledger = self.stock.ledger
        shelf = self.stock.holdings(empty=True)
        assert sum(round(1e9 * held.mass) for held in shelf) == sum(ledger.state().mass(held.place) for held in shelf)
        for held in shelf[:2]:
            assert len(lineage.back(ledger, held.place)) == len(held.parents)
            gone = sum(link.mass for link in lineage.forth(ledger, held.place))
            assert gone >= held.mass - 1e-9
        found = campaign(ledger)
        there = found.in_lots + found.left + found.to_keep + found.standing + found.waste + found.loss
        assert round(1e9 * (found.fresh + found.found)) == round(1e9 * there)

    @invariant()
    def all_mass_is_there(self):
        ledger = self.stock.ledger
        state = ledger.state()
        came = sum(m.mass for e in ledger.holding for m in e.movements if ledger.places[m.source].kind == "outside")
        inside = sum(state.mass(p.id) for p in ledger.places.values() if p.kind in (*STANDING, "gone"))
        assert came == inside
        assert all(amount > 0 for content in state.content.values() for amount in content.values())
        raw = dict.fromkeys(ledger.places, 0)
        for entry in ledger.entries:
            for movement in entry.movements:
                raw[movement.source] -= movement.mass
                raw[movement.target] += movement.mass
        assert all(raw[p.id] == state.mass(p.id) for p in ledger.places.values() if p.kind in (*STANDING, "gone"))


Shelf.TestCase.settings = settings(max_examples=10, stateful_step_count=15, deadline=None)
TestShelf = Shelf.TestCase


@pytest.fixture
def stock(tmp_path):
    with open_stock(tmp_path / "shelf.db", create=True) as opened:
        yield opened


def test_a_pour_undone_takes_back_what_was_poured_and_not_the_mixture(stock):
    stock.enter(assessment())
    stock.fill("C4", 0.2)
    before = stock.holding("B1")
    stock.pour("C1", "B1", 0.1)
    mixed = stock.holding("B1").composition["trichloroethylene"].estimate
    assert mixed == pytest.approx((0.2 * 0.005 + 0.1 * 0.96) / 0.3, abs=0.005)  # by hand, from the cuts' centres
    stock.take("B1", 0.05)
    stock.undo(4)
    after = stock.holding("B1")
    assert after.composition == before.composition
    assert after.mass == pytest.approx(0.15)


def test_undoing_an_undoing_brings_the_entry_back(stock):
    stock.enter(assessment())
    stock.fill("C4", 0.2)
    assert stock.undo() == 3
    assert stock.undo(4) == 4
    assert stock.holding("B1").mass == pytest.approx(0.2)
    with pytest.raises(InputError, match="5 undid it"):
        stock.undo(4)
    assert stock.prove().holds


def test_figures_of_any_kind_come_back_as_they_were_written(stock):
    stock.receive(1, bought())
    stock.weigh("B1", np.float32(0.5), np.int64(0))
    stock.note("B1", [acts.Noted("water", "0", 0, np.float64(1e-5), np.int32(293))])
    with open_stock(stock.path, write=False) as again:
        assert again.ledger.entries == stock.ledger.entries
        assert again.holding("B1").mass == 0.5
    with pytest.raises((ValueError, TypeError)):
        stock.write("odd", lambda draft: draft.move(1, 7, 2.0))  # no whole number: refused, not stored as another
    with open_stock(stock.path, write=False) as again:
        assert len(again.ledger.entries) == 4


def test_what_was_noted_of_a_bottle_goes_with_it(stock):
    stock.enter(assessment())
    stock.fill("C4", 0.2)
    stock.note("B1", [acts.Noted(acts.STABILISER, "thymol"), acts.Noted(acts.RETEST, "2026-11-01")])
    stock.undo(3)
    assert [held.name for held in stock.holdings()] == ["R1/C1", "R1/C2", "R1/C3", "R1/C4", "R1/residue"]
    stock.undo(5)
    assert (stock.holding("B1").stabiliser, stock.holding("B1").retest_by) == ("thymol", "2026-11-01")


def test_what_others_hang_on_cannot_be_undone(stock):
    stock.enter(assessment())
    stock.fill("C4", 0.2)
    stock.pour("C1", "B1", 0.1)
    with pytest.raises(InputError, match=r"entry 4 needs what is in B1; undo that one first"):
        stock.undo(3)
    with pytest.raises(InputError, match="undo that one first"):
        stock.undo(2)
    with pytest.raises(InputError, match="from 2 to 4"):
        stock.undo(1)


def test_masses_that_are_not_there_are_refused_with_what_is(stock):
    stock.enter(assessment())
    with pytest.raises(InputError, match=r"found '500.0 g'; expected at most 350.0 g, which is what R1/C4 holds"):
        stock.fill("C4", 0.5)
    stock.fill("C4")
    with pytest.raises(InputError, match=r"what it held went to B1 \(entry 3\)"):
        stock.take("C4")
    with pytest.raises(InputError, match="more than 0 and at most 1000 kg"):
        stock.take("B1", -1.0)
    with pytest.raises(InputError, match="found 'C9'"):
        stock.take("C9")
    assert len(stock.ledger.entries) == 3
