"""The readings of a run laid beside what the still predicts: one row a reading, and what moves it in proportion.

Besides the parameters of `space`, errors move predictions in proportion and are integrated out in closed form: biases
of the instruments, densities and excess volumes, where receivers really were changed, and how far a real still strays
from the model (`STRAY`). All of them are N(0, 1) before the run in units of their own standard deviation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence
from fractionkit.composition.evidence import shared_names
from fractionkit.courses.pots import BIAS, REPEAT
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured
from fractionkit.stages.forward import Bench, Course
from fractionkit.stages.space import Space

Array = NDArray[np.float64]

STRAY = 0.04
"""Standard deviation of ln(w_i/w_j) of a cut about the model: reflux and boil-up that waver, entrainment, wet
receivers (common practice, no source)."""

SLANT = 0.06
"""Standard deviation of a stray that all cuts share, one part the same in all and one that grows along the run: what is
wrong with the model of the liquid repeats from cut to cut (common practice, no source)."""

SHORT = 0.003
"""Standard deviation, in parts of the charge, of what can come over at all."""

PRESSURE = "pressure"


@dataclass(frozen=True)
class Laid:
    """M readings and S scenarios: residual (S, M); repeat (M,) their fresh standard deviations; moves (S, M, q) change
    of the prediction for one standard deviation of each linear error; composition (S, V, n) and bends (S, V, n, q) of
    the vessels (cuts, then the residue) and how the linear errors move them.
    """

    residual: Array
    variance: Array
    moves: Array
    composition: Array
    bends: Array

    def take(self, index: NDArray[np.intp]) -> Laid:
        """Scenarios ``index``."""
        return Laid(self.residual[index], self.variance, self.moves[index], self.composition[index], self.bends[index])

    @classmethod
    def joined(cls, parts: Sequence[Laid]) -> Laid:
        """Scenarios one after the other."""
        return cls(
            np.concatenate([p.residual for p in parts]),
            parts[0].variance,
            np.concatenate([p.moves for p in parts]),
            np.concatenate([p.composition for p in parts]),
            np.concatenate([p.bends for p in parts]),
        )


class Rows:
    """Which readings there are, in a fixed order: head, density, refractive index, stated, pot, and what came over.

    labels : (M,) of the readings. linear : (q,) names of the linear errors. pot : (P,) vessels that, with all later ones, were
    in the pot when it was read; soiled : (P,) what the residue weighs in parts of what the pot then held.
    """

    def __init__(self, space: Space, bench: Bench, evidence: Evidence, mass: Array) -> None:
        self.space, self.bench, self.evidence, self.mass = space, bench, evidence, mass
        self.cuts = evidence.cuts
        mixture = space.mixture
        kinds = ("density", "excess_volume", "refractive_index")
        self.liquid = [i for i, e in enumerate(mixture.model_errors) if e.kind in kinds]
        instruments = [name for name in shared_names(evidence.measured()) if name != PRESSURE]
        vessels = self.cuts + 1
        self.vessel = _vessels(evidence)
        self.pot = [] if evidence.pot is None else _taken(evidence.pot, self.vessel)
        left = np.maximum(space.mass - bench.ends, 1e-3 * space.mass)
        self.soiled = np.minimum(left[-1] / left[np.array(self.pot, dtype=np.intp) - 1], 1.0)
        pot_errors = ["pot thermometer"] if self.pot else []
        self.linear: tuple[str, ...] = (
            *instruments,
            *pot_errors,
            *(mixture.model_errors[i].name for i in self.liquid),
            *(f"change {j}" for j in range(self.cuts + 1)),
            *(f"stray {k}.{i}" for k in range(vessels) for i in range(mixture.n)),
            *(f"slant {j}.{i}" for j in range(2) for i in range(mixture.n)),
        )
        sizes = [len(instruments), len(pot_errors), len(self.liquid), self.cuts + 1, vessels * mixture.n, 2 * mixture.n]
        self.at_instrument, self.at_pot, self.at_liquid, self.at_change, self.at_stray, self.at_slant = (
            slice(int(a), int(b)) for a, b in pairwise(np.cumsum([0, *sizes]))
        )
        self.instruments = tuple(instruments)
        self.heads = self._head_rows()
        self.density = _taken(evidence.density, self.vessel)
        self.index = _taken(evidence.index, self.vessel)
        self.stated = self._stated_rows()
        self.labels = self._labels()

    def _head_rows(self) -> list[tuple[int, int]]:
        """(0 start or 1 end, cut); a start that repeats the end before it is one reading written twice.

        The first drop is left out: how long the still stood at total reflux before it decides what comes first.
        """
        start, end = self.evidence.head_start.value, self.evidence.head_end.value
        rows = []
        for k in range(self.cuts):
            twice = start[k] == end[k - 1]
            if k > 0 and np.isfinite(start[k]) and not twice:
                rows.append((0, k))
            if np.isfinite(end[k]):
                rows.append((1, k))
        return rows

    def _stated_rows(self) -> list[tuple[int, int]]:
        value = self.evidence.stated
        if value is None:
            return []
        return [(int(v), int(i)) for v, i in np.argwhere(np.isfinite(value))]

    def _labels(self) -> tuple[str, ...]:
        names = self.evidence.names
        return (
            *(f"head, {'end' if e else 'start'} of {names[k]}" for e, k in self.heads),
            *(f"density of {names[v]}" for v in self.density),
            *(f"refractive index of {names[v]}" for v in self.index),
            *(f"{self.space.mixture.names[i]} stated in {names[v]}" for v, i in self.stated),
            *(f"pot temperature at the end{'' if v == self.cuts else f' of {names[v - 1]}'}" for v in self.pot),
            "mass that came over",
        )

    @property
    def count(self) -> int:
        """Number M of readings."""
        return len(self.labels)

    def lay(self, run: Course, v: Array) -> Laid:
        """Residuals and linear errors of S scenarios with parameters ``v`` (S, d)."""
        composition, bends = self._vessels(run, v)
        parts = [
            self._head(run, v),
            self._liquid(self.density, self.evidence.density, self.evidence.density_temperature, composition, bends),
            self._liquid(self.index, self.evidence.index, self.evidence.index_temperature, composition, bends, True),
            self._stated(composition, bends),
            self._pot(run, v),
            self._short(run),
        ]
        return Laid(
            np.concatenate([p[0] for p in parts], axis=1),
            np.concatenate([p[1] for p in parts]),
            np.concatenate([p[2] for p in parts], axis=1),
            composition[:, : self.cuts + 1],
            bends[:, : self.cuts + 1],
        )

    def _vessels(self, run: Course, v: Array) -> tuple[Array, Array]:
        """Composition (S, K + 2, n) of cuts, residue and charge, and what moves it."""
        charge = self.space.scenarios(v).w
        composition = np.concatenate([run.w, run.rest[:, None], charge[:, None]], axis=1)
        S, vessels, n = composition.shape
        bends = np.zeros((S, vessels, n, len(self.linear)))
        first = self.at_change.start
        step = self.bench.lag / self.mass[:, None]
        for k in range(self.cuts):  # cuts of one run: few
            bends[:, k, :, first + k + 1] = (run.edge[:, k + 1] - run.w[:, k]) * step[k]
            if k > 0:
                bends[:, k, :, first + k] = -(run.edge[:, k] - run.w[:, k]) * step[k]
        first, slant = self.at_stray.start, self.at_slant.start
        identity = np.eye(n)
        middle = np.append((self.bench.ends - 0.5 * self.mass) / self.bench.ends[-1], 1.0)
        for k in range(self.cuts + 1):
            w = composition[:, k]
            moved = w[:, :, None] * (identity - w[:, None, :])
            bends[:, k, :, first + k * n : first + (k + 1) * n] = STRAY * moved
            bends[:, k, :, slant : slant + n] = SLANT * moved
            bends[:, k, :, slant + n : slant + 2 * n] = SLANT * (2.0 * middle[k] - 1.0) * moved
        return composition, bends

    def _felt(self, kind: Measured, rows: Sequence[int], moves: Array, v: Array | None = None) -> Array:
        """Add the instruments' errors to ``moves``; return what a pressure that this reading feels adds, (S, rows)."""
        added = np.zeros(moves.shape[:2])
        for name, sensitivity in kind.shared.items():
            size = np.nan_to_num(sensitivity)[list(rows)]
            if name in self.instruments:
                moves[:, :, self.at_instrument.start + self.instruments.index(name)] += size
            elif name == PRESSURE and v is not None:
                added += v[:, -1:] * size
        return added

    def _head(self, run: Course, v: Array) -> tuple[Array, Array, Array]:
        start, end = self.evidence.head_start, self.evidence.head_end
        S = len(run.head)
        residual, variance = np.zeros((S, len(self.heads))), np.zeros(len(self.heads))
        moves = np.zeros((S, len(self.heads), len(self.linear)))
        for row, (is_end, k) in enumerate(self.heads):
            kind, mark = (end if is_end else start), k + is_end
            added = self._felt(kind, [k], moves[:, row : row + 1], v)
            residual[:, row] = kind.value[k] - run.head[:, mark] - added[:, 0]
            variance[row] = kind.repeat[k] ** 2
            moves[:, row, self.at_change.start + mark] += run.head_slope[:, mark] * self.bench.lag
        return residual, variance, moves

    def _liquid(
        self, rows: list[int], kind: Measured, at: Array, composition: Array, bends: Array, index: bool = False
    ) -> tuple[Array, Array, Array]:
        """Density or refractive index."""
        S = len(composition)
        moves = np.zeros((S, len(rows), len(self.linear)))
        if not rows:
            return np.zeros((S, 0)), np.zeros(0), moves
        mixture = self.space.mixture
        temperature = np.nan_to_num(at[rows], nan=293.15)
        vessels = [self.vessel[row] for row in rows]
        w = composition[:, vessels]
        value = mixture.refractive_index if index else mixture.density
        errors = mixture.refractive_index_errors if index else mixture.density_errors
        moves[:, :, self.at_liquid] = errors(w, temperature)[..., self.liquid]
        slope = _index_slope(mixture, w, temperature) if index else mixture.density_gradient(w, temperature)
        moves += np.einsum("srn,srnq->srq", slope, bends[:, vessels])
        self._felt(kind, rows, moves)
        return kind.value[rows] - value(w, temperature), kind.repeat[rows] ** 2, moves

    def _stated(self, composition: Array, bends: Array) -> tuple[Array, Array, Array]:
        value, u = self.evidence.stated, self.evidence.stated_u
        if not self.stated or value is None or u is None:
            return np.zeros((len(composition), 0)), np.zeros(0), np.zeros((len(composition), 0, len(self.linear)))
        rows = [v for v, _ in self.stated]
        vessels, parts = [self.vessel[v] for v in rows], [i for _, i in self.stated]
        return (
            value[rows, parts] - composition[:, vessels, parts],
            u[rows, parts] ** 2,
            bends[:, vessels, parts],
        )

    def _pot(self, run: Course, v: Array) -> tuple[Array, Array, Array]:
        """What does not boil raises every reading, the more the emptier the pot; see `courses.pots`."""
        moves = np.zeros((len(run.pot), len(self.pot), len(self.linear)))
        if self.evidence.pot is None or not self.pot:
            return np.zeros((len(run.pot), 0)), np.zeros(0), moves
        moves[:, :, self.at_pot] = BIAS
        raised = self.space.rise_by_pressure * np.log1p(self.space.solute(v)[:, None] * self.soiled)
        residual = self.evidence.pot.value[self.pot] - run.pot[:, self.pot] - raised
        return residual, np.full(len(self.pot), REPEAT**2), moves

    def _short(self, run: Course) -> tuple[Array, Array, Array]:
        return (
            run.short[:, None],
            np.array([(SHORT * self.space.mass) ** 2]),
            np.zeros((len(run.short), 1, len(self.linear))),
        )


def _vessels(evidence: Evidence) -> list[int]:
    """Number of the vessel of every entry of the evidence: cuts 0 to K - 1, residue K, charge K + 1."""
    found = list(range(evidence.cuts))
    return found + [evidence.cuts] * evidence.residue + [evidence.cuts + 1] * evidence.charge


def _taken(kind: Measured, vessel: list[int]) -> list[int]:
    return [v for v in range(len(vessel)) if np.isfinite(kind.value[v])]


def _index_slope(mixture: Mixture, w: Array, temperature: Array) -> Array:
    """Slope of the refractive index by each mass fraction, the others shrinking in proportion, (..., n)."""
    here, step = mixture.refractive_index(w, temperature), 1e-4
    slopes = []
    for e in np.eye(mixture.n):
        there = mixture.refractive_index((1.0 - step) * w + step * e, temperature)
        # dw = step (e - w): the slope along e less that along w, which drops out for changes that sum to zero
        slopes.append((there - here) / step)
    return np.stack(slopes, axis=-1)
