"""The proof that mass is never created or lost: sums that must agree, found in ways that do not lean on one another."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import Estimate
from fractionkit.quantities.rounding import HEAVY
from fractionkit.stock import composition, file
from fractionkit.stock.ledger import MICROGRAMS, Ledger, OverdrawnError, State, pooled
from fractionkit.stock.rows import STANDING
from fractionkit.stock.shelf import component_masses
from fractionkit.stock.store import first_broken

Array = NDArray[np.float64]
ROUNDING = 1e-9  # of all mass: what sums of figures in double precision may be apart


@dataclass(frozen=True)
class Finding:
    """One thing that was compared, whether it holds, and the figures."""

    what: str
    holds: bool
    detail: str


@dataclass(frozen=True)
class ComponentBalance:
    """One component, kg: came in, found by weighing, stands, left; ``restated``: what assessing a run made it more.

    What goes into a pot and what comes out of it are two estimates of the same component. They need not agree, so that the
    difference is told with its 95 % interval; in = stands + left - restated.
    """

    component: str
    came: float
    stands: float
    left: float
    restated: Estimate
    holds: bool


@dataclass(frozen=True)
class Proof:
    """All findings; ``holds`` when every one does."""

    findings: tuple[Finding, ...]
    components: tuple[ComponentBalance, ...]

    @property
    def holds(self) -> bool:
        """Whether everything adds up."""
        return all(finding.holds for finding in self.findings) and all(part.holds for part in self.components)


def prove(ledger: Ledger, connection: sqlite3.Connection, path: Path) -> Proof:
    """Check the file and the ledger."""
    findings = [*_file(connection, path), _seals(ledger)]
    try:
        state = ledger.state()
    except OverdrawnError as error:
        name = ledger.places[error.place].name
        detail = f"entry {error.booking} takes {error.short / 1e6:.6f} g more than is in {name}"
        return Proof((*findings, Finding("nothing is taken that is not there", False, detail)), ())
    findings += [
        Finding("nothing is taken that is not there", True, f"{len(ledger.holding)} entries played"),
        _movements(ledger, state, connection, path),
        _never_below(ledger),
        _materials(ledger, state),
        _pots(ledger),
        _whole(ledger, state),
    ]
    return Proof(tuple(findings), _components(ledger, state))


def _file(connection: sqlite3.Connection, path: Path) -> list[Finding]:
    with file.trouble(path):
        said = [str(row[0]) for row in connection.execute("PRAGMA integrity_check")]
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
    return [
        Finding(
            "the file is whole", said == ["ok"], "; ".join(said[:3]) if said != ["ok"] else "SQLite finds no fault"
        ),
        Finding(
            "every row belongs to an entry and to places", not loose, f"{len(loose)} do not" if loose else "all do"
        ),
    ]


def _seals(ledger: Ledger) -> Finding:
    broken = first_broken(ledger.entries)
    text = f"{len(ledger.entries)} seals" if broken is None else f"entry {broken} is not as it was written"
    return Finding("every entry is as it was written", broken is None, text)


def _movements(ledger: Ledger, state: State, connection: sqlite3.Connection, path: Path) -> Finding:
    """Balance of each place: all movements, undone ones and counter-entries too, summed by the database."""
    statement = (
        "SELECT place, sum(mass) FROM (SELECT target AS place, mass FROM movement UNION ALL "
        "SELECT source, -mass FROM movement) GROUP BY place"
    )
    with file.trouble(path):
        sums = {place: int(mass) for place, mass in connection.execute(statement)}
    inside = [place for place in ledger.places.values() if place.kind != "outside"]
    wrong = [place.name for place in inside if sums.get(place.id, 0) != _balance(state, place.id, place.kind)]
    total = sum(sums.values())
    text = f"{len(inside)} places" if not wrong else f"differs: {', '.join(wrong[:5])}"
    return Finding("movements add up to what stands in each place", not wrong and total == 0, text)


def _balance(state: State, place: int, kind: str) -> int:
    return 0 if kind == "run" else state.mass(place)


def _never_below(ledger: Ledger) -> Finding:
    """No place held less than nothing at any time, in the order in which entries were written."""
    balance: dict[int, int] = {}
    for entry in ledger.entries:
        for movement in entry.movements:
            balance[movement.source] = balance.get(movement.source, 0) - movement.mass
            balance[movement.target] = balance.get(movement.target, 0) + movement.mass
        below = [p for p, mass in balance.items() if mass < 0 and ledger.places[p].kind != "outside"]
        if below:
            name = ledger.places[below[0]].name
            return Finding("no place ever held less than nothing", False, f"{name} after entry {entry.booking.id}")
    return Finding("no place ever held less than nothing", True, f"{len(ledger.entries)} entries")


def _materials(ledger: Ledger, state: State) -> Finding:
    """Each material: what came of it = what stands + what is gone + what was distilled again."""
    standing = (content for place, content in state.content.items() if ledger.places[place].kind != "run")
    there = pooled([*standing, *state.distilled.values()])
    wrong = [ledger.origins[key].name for key in {*there, *state.came} if there.get(key, 0) != state.came.get(key, 0)]
    text = f"{len(state.came)} materials" if not wrong else f"differs: {', '.join(wrong[:5])}"
    return Finding("every material is all there", not wrong, text)


def _pots(ledger: Ledger) -> Finding:
    """Each run: charge = cuts + residue + loss, from its own entry."""
    wrong = []
    for entry in ledger.holding:
        for pot in (place for place in entry.places if place.kind == "run"):
            into = sum(m.mass for m in entry.movements if m.target == pot.id)
            out = sum(m.mass for m in entry.movements if m.source == pot.id)
            if into != out:
                wrong.append(pot.name)
    text = "to the microgram" if not wrong else f"differs: {', '.join(wrong)}"
    return Finding("what went into each pot came out of it", not wrong, text)


def _whole(ledger: Ledger, state: State) -> Finding:
    """What stands = what came in - what left, over everything."""
    came = sum(m.mass for entry in ledger.holding for m in entry.movements if ledger.places[m.source].kind == "outside")
    stands = sum(state.mass(place.id) for place in ledger.places.values() if place.kind in STANDING)
    gone = sum(state.mass(place.id) for place in ledger.places.values() if place.kind == "gone")
    text = f"{_g(came)} came in, {_g(gone)} left, {_g(stands)} stand"
    return Finding("what stands is what came in less what left", came == stands + gone, text)


def _g(mass: int) -> str:
    text = f"{mass / 1e9:.9f}" if mass >= HEAVY * MICROGRAMS else f"{mass / 1e6:.6f}"
    return text.rstrip("0").rstrip(".") + (" kg" if mass >= HEAVY * MICROGRAMS else " g")


def _components(ledger: Ledger, state: State) -> tuple[ComponentBalance, ...]:
    """Each component: in = stands + left - restated at distilling; by draws, since compositions are uncertain."""
    born = {key: amount for key, amount in state.came.items() if ledger.born(key)}
    come = {key: amount - born.get(key, 0) for key, amount in state.came.items()}
    for key, amount in state.found.items():  # what is found of a cut comes in from outside
        if key in born:
            born[key] -= amount
            come[key] += amount
    kinds = {"stands": STANDING, "left": ("gone",)}
    where = {
        word: [content for place, content in state.content.items() if ledger.places[place].kind in kind]
        for word, kind in kinds.items()
    }
    parts = {
        "came": component_masses(ledger, come),
        "stands": component_masses(ledger, pooled(where["stands"])),
        "left": component_masses(ledger, pooled(where["left"])),
        "out": component_masses(ledger, born),
        "in": component_masses(ledger, pooled(state.distilled.values())),
    }
    names = sorted({name for part in parts.values() for name in part})
    none = np.zeros(composition.DRAWS)
    total = sum(state.came.values()) / MICROGRAMS
    return tuple(
        _component(name, {word: part.get(name, none) for word, part in parts.items()}, total) for name in names
    )


def _component(name: str, part: dict[str, Array], total: float) -> ComponentBalance:
    restated = part["out"] - part["in"]
    left = np.abs(part["came"] + restated - part["stands"] - part["left"]).max()
    low, high = np.quantile(restated, [0.025, 0.975])
    return ComponentBalance(
        component=name,
        came=float(part["came"].mean()),
        stands=float(part["stands"].mean()),
        left=float(part["left"].mean()),
        restated=Estimate(float(restated.mean()), float(low), float(high)),
        holds=bool(left <= ROUNDING * max(total, 1e-6)),
    )
