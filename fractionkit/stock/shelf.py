"""What stands where: mass, composition, where it came from, what was noted of it, what to watch."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fractionkit.readings import weighing_u
from fractionkit.stock import acts, composition
from fractionkit.stock.composition import Array, Composition, Known
from fractionkit.stock.draft import LOSS
from fractionkit.stock.ledger import MICROGRAMS, Content, Ledger, State
from fractionkit.stock.rows import STANDING, Decision, Entry, Kind, Origin, Place, Reading


@dataclass(frozen=True)
class Share:
    """How much of a material stands there: its name ("R1/C5"), the title of its run, kg."""

    name: str
    run: str
    mass: float


@dataclass(frozen=True)
class Condition:
    """What became of a liquid: since when it is in there, stabiliser, retest date, what came in and evaporated.

    ``entry`` is the last that poured something in: what was read before is of another liquid. ``stabilised`` : share of the
    mass that had its stabiliser when it came in, 0 to 1.
    """

    filled: str
    entry: int = 0
    stabiliser: str | None = None
    stabilised: float = 0.0
    retest_by: str | None = None
    came_in: int = 0  # micrograms
    evaporated: int = 0


@dataclass(frozen=True)
class Holding:
    """A cut, bottle or lot as it stands.

    mass, mass_u : kg. known : components, draws and intervals, None where empty. decision : what it is for; of a bottle,
    what all cuts in it are for. targets : components that the runs of its materials were distilled for.
    """

    place: int
    name: str
    kind: Kind
    title: str
    decision: Decision | None
    run: str | None
    mass: float
    mass_u: float
    known: Known | None
    parents: tuple[Share, ...]
    targets: frozenset[str]
    condition: Condition
    opened: str | None
    stands_at: str | None
    readings: tuple[Reading, ...] = field(default=())

    @property
    def composition(self) -> Composition:
        """Component -> mass fraction with its 95 % interval; empty where nothing stands."""
        return {} if self.known is None else self.known.composition

    def speaks_of(self, words: Sequence[str]) -> bool:
        """Whether every word is in its name, title, place, purpose, run or main components (1 wt% and more)."""
        main = [name for name, made in self.composition.items() if made.estimate >= 0.01]
        runs = [share.run for share in self.parents]
        said = (self.name, self.title, self.stands_at or "", self.decision or "", self.kind, *runs, *main)
        text = "\n".join(said).casefold()
        return all(word.casefold() in text for word in words)

    @property
    def stabiliser(self) -> str | None:
        """What it is stabilised with, None where it is not, or not known to be."""
        return self.condition.stabiliser

    @property
    def retest_by(self) -> str | None:
        """ISO date, None where none was set."""
        return self.condition.retest_by

    @property
    def lost(self) -> float:
        """Share of what came in that weighings found missing."""
        return self.condition.evaporated / self.condition.came_in if self.condition.came_in else 0.0


def holdings(ledger: Ledger, *, empty: bool = False) -> tuple[Holding, ...]:
    """Everything that stands on the shelf, in the order in which it came; with ``empty`` also what stood there."""
    state, kept = ledger.state(), conditions(ledger)
    return tuple(
        holding(ledger, state, kept, ledger.places[place])
        for place in ledger.names().values()
        if empty or state.mass(place)
    )


def holding(ledger: Ledger, state: State, kept: dict[int, Condition], place: Place) -> Holding:
    """One of them; ``kept`` as `conditions` gives it."""
    content = state.content.get(place.id, {})
    mass = sum(content.values()) / MICROGRAMS
    readings = ledger.readings(place.id)
    return Holding(
        place=place.id,
        name=place.name,
        kind=place.kind,
        title=place.title,
        decision=place.decision or (_decision(ledger, content) if place.kind == "bottle" else None),
        run=None if place.batch is None else ledger.batches[place.batch].title,
        mass=mass,
        mass_u=mass_u(ledger, state, content, mass),
        known=known(ledger, content),
        parents=tuple(shares(ledger, content)),
        targets=_targets(ledger, content),
        condition=kept.get(place.id, Condition("")),
        opened=_last(readings, acts.OPENED),
        stands_at=_last(readings, acts.STANDS),
        readings=readings,
    )


def _decision(ledger: Ledger, content: Content) -> Decision | None:
    """What all cuts in a bottle were judged to be for; None where they differ, or anything else is in it."""
    judged = {(p.batch, p.name): p.decision for p in ledger.places.values() if p.kind == "cut"}
    found = {judged.get((ledger.origins[key].batch, ledger.origins[key].name)) for key in content}
    return found.pop() if len(found) == 1 else None


def _targets(ledger: Ledger, content: Content) -> frozenset[str]:
    batches = (ledger.origins[key].batch for key in content)
    targets = (ledger.batches[batch].target for batch in batches if batch is not None)
    return frozenset(target for target in targets if target is not None)


def known(ledger: Ledger, content: Content) -> Known | None:
    """Composition of a content, None where it is empty."""
    parts = [(composition.known(ledger.origins[key]), float(amount)) for key, amount in sorted(content.items())]
    return composition.blend(parts) if parts else None


def component_masses(ledger: Ledger, content: Content) -> dict[str, Array]:
    """Component -> mass (DRAWS,) in kg of a content."""
    found: dict[str, Array] = {}
    for key, amount in content.items():  # materials, not draws
        made = composition.known(ledger.origins[key])
        for place, name in enumerate(made.components):
            mass = amount / MICROGRAMS * made.draws[:, place]
            found[name] = found[name] + mass if name in found else mass
    return found


def shares(ledger: Ledger, content: Content) -> list[Share]:
    """Materials of a content, the largest first."""
    ordered = sorted(content.items(), key=lambda item: (-item[1], item[0]))
    return [
        Share(ledger.origins[key].name, run_title(ledger, ledger.origins[key]), amount / MICROGRAMS)
        for key, amount in ordered
    ]


def run_title(ledger: Ledger, origin: Origin) -> str:
    """Title of the run that a material comes from, "" where it came from outside."""
    return "" if origin.batch is None else ledger.batches[origin.batch].title


def mass_u(ledger: Ledger, state: State, content: Content, mass: float) -> float:
    """Standard uncertainty of a mass: of its materials as they were first weighed, at least that of a weighing."""
    first = [ledger.origins[key].u * amount / state.came[key] for key, amount in content.items() if state.came.get(key)]
    return float(max(np.hypot.reduce(first, initial=0.0), weighing_u(mass))) if content else 0.0


def _last(readings: tuple[Reading, ...], attribute: str) -> str | None:
    found = [reading.value for reading in readings if reading.attribute == attribute]
    return found[-1] or None if found else None


def conditions(ledger: Ledger) -> dict[int, Condition]:
    """Stabiliser, retest date and losses of every place, followed through all pours.

    What is distilled has no stabiliser. What is poured brings its own; mixed with what has none, it is in a part of the
    mixture only, and of two retest dates the earlier holds.
    """
    kept: dict[int, Condition] = {}
    mass: dict[int, int] = {}
    for entry in ledger.holding:
        for movement in entry.movements:
            source, target = ledger.places[movement.source], ledger.places[movement.target]
            if target.kind in STANDING:
                there = kept.get(target.id) if mass.get(target.id, 0) else None
                found = source.kind == "outside" and movement.origin is None
                comes = None if source.kind in ("run", "outside") else kept.get(source.id)
                kept[target.id] = (
                    there if found and there else _mixed(there, comes, entry, movement.mass, mass.get(target.id, 0))
                )
                mass[target.id] = mass.get(target.id, 0) + movement.mass
            if source.kind in STANDING:
                mass[source.id] = mass.get(source.id, 0) - movement.mass
                if target.id == LOSS:
                    kept[source.id] = replace(kept[source.id], evaporated=kept[source.id].evaporated + movement.mass)
        for reading in entry.readings:
            if reading.place not in kept:
                continue  # the entry that made the place was undone; what was noted of it is of nothing
            if reading.attribute == acts.STABILISER:
                none = reading.value.strip().casefold() in ("", "none", "no", "-")
                said = None if none else reading.value
                kept[reading.place] = replace(kept[reading.place], stabiliser=said, stabilised=0.0 if none else 1.0)
            elif reading.attribute == acts.RETEST:
                kept[reading.place] = replace(kept[reading.place], retest_by=reading.value)
    return kept


def _mixed(there: Condition | None, comes: Condition | None, entry: Entry, mass: int, before: int) -> Condition:
    """``mass`` of what comes poured on ``before`` of what is there, micrograms."""
    number = entry.booking.id
    if there is None:
        if comes is None:
            return Condition(entry.booking.day, number, came_in=mass)
        return Condition(entry.booking.day, number, comes.stabiliser, comes.stabilised, comes.retest_by, came_in=mass)
    both = [there] if comes is None else [there, comes]
    words = dict.fromkeys(condition.stabiliser for condition in both if condition.stabiliser)
    dates = [condition.retest_by for condition in both if condition.retest_by]
    held = before * there.stabilised + mass * (comes.stabilised if comes else 0.0)
    return Condition(
        there.filled,
        number,
        " + ".join(words) or None,
        held / (before + mass),
        min(dates) if dates else None,
        there.came_in + mass,
        there.evaporated,
    )


@dataclass(frozen=True)
class Step:
    """One movement seen from a place: entry, day, what was done, the other place, kg more (less: negative)."""

    entry: int
    day: str
    act: str
    other: str
    change: float


def history(ledger: Ledger, place: int) -> tuple[Step, ...]:
    """Everything that was moved into a place and out of it, by the entries that hold."""
    steps = []
    for entry in ledger.holding:
        for movement in entry.movements:
            if place in (movement.source, movement.target):
                sign = 1 if movement.target == place else -1
                other = ledger.places[movement.source if sign > 0 else movement.target].name
                booking = entry.booking
                steps.append(Step(booking.id, booking.day, booking.act, other, sign * movement.mass / MICROGRAMS))
    return tuple(steps)


def today() -> str:
    """Today's date, ISO."""
    return datetime.date.today().isoformat()
