"""From evidence to blocks: which shared errors a run has, and each kind of reading laid on the nodes of its cuts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence, shared_names
from fractionkit.courses.pots import HOLDUP, POT, Elevated, Pots, rise_by_pressure
from fractionkit.inference import nodes as points
from fractionkit.inference.channels import Detected, Normal, Range, Scatter, evenly
from fractionkit.inference.dry_point import DRY_POINT, DRY_REPEAT, DrySolver, DryTable, dry_table
from fractionkit.inference.joint import Block, Channel
from fractionkit.inference.layers import OneLiquid, parted
from fractionkit.inference.predict import (
    TABLE_POINTS,
    BoilingSolver,
    BoilingTable,
    boiling_errors,
    bubble_solver,
    bubble_table,
    density_errors,
    dew_solver,
    dew_table,
    index_errors,
)
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]

CUTS_PER_BLOCK = 64
PRESSURE = "pressure"


@dataclass(frozen=True)
class Setting:
    """What stays the same for all cuts of a run.

    errors : (p,) names of the shared errors that some reading feels. places : for each of the mixture's model errors its
    place among them (meaningless where no reading feels it). dew, bubble, dry : tables at the run's pressure, None where
    no reading needs them. head : the head temperatures' likelihood.
    """

    mixture: Mixture
    evidence: Evidence
    errors: tuple[str, ...]
    places: NDArray[np.intp]
    dew: BoilingTable | BoilingSolver | None
    bubble: BoilingTable | BoilingSolver | None
    dry: DryTable | DrySolver | None
    head: Range

    @classmethod
    def of(cls, mixture: Mixture, evidence: Evidence) -> Setting:
        """Solve the tables that the readings of this run need."""
        dry = _any(evidence.range_end)
        needs_dew = _any(evidence.head_start) or _any(evidence.head_end)
        needs_bubble = _any(evidence.range_start) or evidence.pot is not None
        boils = needs_dew or needs_bubble or dry
        tabled = mixture.n in TABLE_POINTS
        felt = np.zeros(len(mixture.model_errors), dtype=bool)
        felt[boiling_errors(mixture)] |= boils
        felt[density_errors(mixture)] |= _any(evidence.density)
        felt[index_errors(mixture)] |= _any(evidence.index)
        names = [error.name for error, counts in zip(mixture.model_errors, felt, strict=True) if counts]
        names += ([PRESSURE] if boils else []) + list(shared_names(evidence.measured())) + ([DRY_POINT] if dry else [])
        names = list(dict.fromkeys(names))  # a steam point feels the pressure too: one error, not two
        return cls(
            mixture,
            evidence,
            tuple(names),
            np.cumsum(felt) - 1,
            (dew_table if tabled else dew_solver)(mixture, evidence.pressure) if needs_dew else None,
            (bubble_table if tabled else bubble_solver)(mixture, evidence.pressure) if needs_bubble else None,
            dry_table(mixture, evidence.pressure) if dry else None,
            Range.between(
                evidence.head_start.value,
                evidence.head_end.value,
                _either(evidence.head_start.repeat, evidence.head_end.repeat),
                evenly(mixture.bubble_point(np.eye(mixture.n), evidence.pressure)[0]),
            ),
        )

    def index(self, name: str) -> int:
        """Place of a shared error in theta."""
        return self.errors.index(name)

    def block(self, cuts: slice, nodes: points.Nodes) -> Block:
        """Lay the readings of some cuts on their nodes; ``nodes`` may hold one set for all of them."""
        return Block(cuts, nodes, tuple(self._channels(cuts, nodes)))

    def _channels(self, cuts: slice, nodes: points.Nodes) -> list[Channel]:
        evidence = self.evidence
        found: list[Channel] = []
        start, end = evidence.head_start, evidence.head_end
        if self.dew is not None and (_any(start, cuts) or _any(end, cuts)):
            felt = {**start.shared, **end.shared}
            for name in start.shared.keys() & end.shared.keys():
                felt[name] = _mean(start.shared[name], end.shared[name])
            found.append(self._boiling("head temperature", self.head.part(cuts), self.dew, nodes, felt, cuts))
        if self.bubble is not None and _any(evidence.range_start, cuts):
            kind = evidence.range_start
            found.append(self._boiling("first drop", kind, self.bubble, nodes, kind.shared, cuts))
        found += self._pot(nodes, cuts)
        if _any(evidence.range_end, cuts):
            found.append(self._dry_point(nodes, cuts))
        if _any(evidence.density, cuts):
            found += [self._density(nodes, cuts), *self._one_liquid(nodes, cuts)]
        if _any(evidence.index, cuts):
            found.append(self._refraction(nodes, cuts))
        return found + self._detections(nodes, cuts) + self._stated(nodes, cuts)

    def _boiling(
        self,
        kind: str,
        scatter: Scatter | Measured,
        table: BoilingTable | BoilingSolver,
        nodes: points.Nodes,
        felt: Mapping[str, Array],
        cuts: slice,
    ) -> Channel:
        found = table.at(nodes.coordinates)
        pressed = found.by_pressure * self.evidence.pressure_u / self.evidence.pressure
        moves = Moves([*self.places[table.errors], self.index(PRESSURE)], [found.moved, pressed[..., None]])
        bends = Moves(list(self.places[table.bending]), [found.bent])
        return self._channel(kind, scatter, found.temperature, moves, felt, nodes, cuts, bends)

    def _pot(self, nodes: points.Nodes, cuts: slice) -> list[Channel]:
        """The residue alone in the pot; what it held before is several vessels' and tied in `chain`."""
        residue, pot = self.evidence.cuts, self.evidence.pot
        first, last, _ = cuts.indices(self.evidence.size)
        if pot is None or self.bubble is None or not (self.evidence.residue and first <= residue < last):
            return []
        value = np.where(np.arange(first, last) == residue, pot.value[cuts], np.nan)
        if np.isnan(value).all():
            return []
        scatter = Elevated.of(value, rise_by_pressure(self.bubble))
        return [self._boiling(POT, scatter, self.bubble, nodes, {}, cuts)]

    def pots(self, theta: Array, blocks: Sequence[Block]) -> Pots | None:
        """Pot temperatures of several vessels together, with samples (S, p) of the shared errors; None where none was read.

        blocks : of the run, the residue's own reading laid on its nodes.
        """
        evidence, table = self.evidence, self.bubble
        pot, balance, size = evidence.pot, evidence.balance, evidence.cuts + 1
        if pot is None or balance is None or table is None or not evidence.residue:
            return None
        mass = balance.mass
        if not np.isfinite(mass).all() or np.isnan(pot.value[: size - 1]).all():
            return None
        held = HOLDUP * float(mass.sum()) if np.isnan(balance.holdup) else balance.holdup
        pressed = theta[:, self.index(PRESSURE)] * self.evidence.pressure_u / self.evidence.pressure
        moved, bent = theta[:, self.places[table.errors]], theta[:, self.places[table.bending]] ** 2
        alone = None
        for block in blocks:
            row = slice(size - 1 - block.cuts.start, size - block.cuts.start)
            for channel in block.channels:
                if isinstance(channel.scatter, Elevated):
                    parts = {name: getattr(channel, name)[row] for name in ("prediction", "jacobian", "bend")}
                    eta = replace(channel, **parts).at(theta)
                    alone = channel.scatter.part(row).log_likelihood(eta)[0].T
        rise = rise_by_pressure(table)
        return Pots(pot.value[:size], mass, held, table, moved, bent, pressed, rise, alone)

    def _dry_point(self, nodes: points.Nodes, cuts: slice) -> Channel:
        assert self.dry is not None
        kind = self.evidence.range_end
        found = self.dry.at(nodes.coordinates)
        pressed = found.by_pressure * self.evidence.pressure_u / self.evidence.pressure
        moves = Moves(
            [*self.places[self.dry.errors], self.index(PRESSURE), self.index(DRY_POINT)],
            [found.moved, pressed[..., None], found.by_left[..., None]],
        )
        bends = Moves([self.index(DRY_POINT)], [found.bent])
        scatter = Normal.of(
            kind.value[cuts],
            np.hypot(kind.repeat, DRY_REPEAT)[cuts],
            nodes.across_cell(found.temperature),
            nodes.power,
            found.variance(),
        )
        return self._channel(DRY_POINT, scatter, found.temperature, moves, kind.shared, nodes, cuts, bends)

    def _density(self, nodes: points.Nodes, cuts: slice) -> Channel:
        kind = self.evidence.density
        temperature = np.nan_to_num(self.evidence.density_temperature[cuts], nan=293.15)[:, None]
        errors = density_errors(self.mixture)
        prediction = self.mixture.density(nodes.w, temperature)
        moved = self.mixture.density_errors(nodes.w, temperature)[..., errors]
        return self._channel(
            "density", kind, prediction, Moves(list(self.places[errors]), [moved]), kind.shared, nodes, cuts
        )

    def _refraction(self, nodes: points.Nodes, cuts: slice) -> Channel:
        kind = self.evidence.index
        temperature = np.nan_to_num(self.evidence.index_temperature[cuts], nan=293.15)[:, None]
        errors = index_errors(self.mixture)
        prediction = self.mixture.refractive_index(nodes.w, temperature)
        moved = self.mixture.refractive_index_errors(nodes.w, temperature)[..., errors]
        return self._channel(
            "refractive index", kind, prediction, Moves(list(self.places[errors]), [moved]), kind.shared, nodes, cuts
        )

    def _one_liquid(self, nodes: points.Nodes, cuts: slice) -> list[Channel]:
        """Compositions that would stand in two layers where densities were read."""
        if not self.mixture.may_split:
            return []
        read = np.isfinite(self.evidence.density.value[cuts])
        room = float(self.evidence.density_temperature[cuts][read].mean())  # all are read in one room
        share = parted(self.mixture, room, nodes)
        prediction = np.broadcast_to(share, (len(read), share.shape[1]))
        return [self._channel("one liquid", OneLiquid(read), prediction, Moves([], []), {}, nodes, cuts)]

    def _detections(self, nodes: points.Nodes, cuts: slice) -> list[Channel]:
        """One channel for each component that some cut was tested for."""
        found = []
        first, last, _ = cuts.indices(self.evidence.size)
        tests = [test for test in self.evidence.detections if first <= test.cut < last]
        for component in sorted({test.component for test in tests}):
            limit, sign = np.full(last - first, np.nan), np.zeros(last - first)
            for test in tests:
                if test.component == component:
                    limit[test.cut - first], sign[test.cut - first] = (
                        test.limit,
                        1.0 if test.positive else -1.0,
                    )
            prediction = np.broadcast_to(nodes.w[..., component], (last - first, nodes.w.shape[1]))
            found.append(self._channel("test", Detected(limit, sign), prediction, Moves([], []), {}, nodes, cuts))
        return found

    def _stated(self, nodes: points.Nodes, cuts: slice) -> list[Channel]:
        """One channel for each component whose mass fraction is known from elsewhere for some vessel."""
        value, u = self.evidence.stated, self.evidence.stated_u
        if value is None or u is None:
            return []
        found = []
        for i in np.flatnonzero(np.isfinite(value[cuts]).any(axis=0)):
            known = Measured(value[:, i], u[:, i])
            found.append(self._channel("stated composition", known, nodes.w[..., i], Moves([], []), {}, nodes, cuts))
        return found

    def _channel(
        self,
        kind: str,
        scatter: Scatter | Measured,
        prediction: Array,
        moves: Moves,
        felt: Mapping[str, Array],
        nodes: points.Nodes,
        cuts: slice,
        bends: Moves | None = None,
    ) -> Channel:
        """Add the instruments' errors that this kind of reading feels; a reading grows by its error, so eta does.

        An error that already moves the prediction (the pressure, where the thermometer was set in steam) adds to it.
        """
        count = len(range(*cuts.indices(self.evidence.size)))
        shape = (count, prediction.shape[1])
        places, columns = moves.laid(shape)
        for name, sensitivity in felt.items():
            if name not in self.errors:
                continue
            column = np.nan_to_num(sensitivity[cuts])[:, None]
            place = self.index(name)
            if place in places:
                columns[..., places.index(place)] += column
            else:
                places.append(place)
                columns = np.concatenate([columns, np.broadcast_to(column, shape)[..., None]], axis=-1)
        bending, bend = (bends or Moves([], [])).laid(shape)
        across = nodes.across_cell(prediction)
        if isinstance(scatter, Measured):
            scatter = Normal.of(scatter.value[cuts], scatter.repeat[cuts], across, nodes.power)
        elif isinstance(scatter, Range):
            scatter = scatter.no_narrower(np.broadcast_to(prediction, shape), np.broadcast_to(across, shape))
        return Channel(
            kind,
            scatter,
            np.broadcast_to(prediction, shape),
            np.array(places, dtype=np.intp),
            columns,
            np.array(bending, dtype=np.intp),
            bend,
        )


@dataclass(frozen=True)
class Moves:
    """How some shared errors move a prediction: their ``places`` in theta and columns (C, G, ...) in that order."""

    places: list[int]
    columns: list[Array]

    def laid(self, shape: tuple[int, int]) -> tuple[list[int], Array]:
        """Places, and the columns joined for all cuts, (C, G, q)."""
        parts = [np.broadcast_to(part, (*shape, part.shape[-1])) for part in self.columns]
        return [int(place) for place in self.places], (
            np.concatenate(parts, axis=-1) if parts else np.zeros((*shape, 0))
        )


def slices(size: int, step: int = CUTS_PER_BLOCK) -> list[slice]:
    """The run's cuts in pieces."""
    return [slice(first, min(first + step, size)) for first in range(0, size, step)]


def _any(kind: Measured, cuts: slice = slice(None)) -> bool:
    return bool(np.isfinite(kind.value[cuts]).any())


def _either(first: Array, second: Array) -> Array:
    return np.where(np.isnan(first), second, first)


def _mean(first: Array, second: Array) -> Array:
    return 0.5 * (_either(first, second) + _either(second, first))
