"""Pot temperatures: what is in the pot when a receiver is taken away boils there.

The pot then holds the residue and all later cuts, so its bubble point ties their compositions. Going through a run from the
residue backwards, what is in the pot is a running sum.

A reading lies off that bubble point by

- an error of the pot's thermometer that repeats, and superheat and the weight of liquid over the bulb (`BIAS`), and a fresh
  one (`REPEAT`);
- what does not boil (grease, oil, stabilisers, salts), which only raises it: dT/d(ln P) ln(1 + q m_R/m), where q is moles of
  solute for one mole of solvent in the residue of mass m_R, and m what the pot holds. P(q > z) = (1 + z/`SOLUTE`)^-2: half the
  residues are raised by less than 0.5 K, one in twenty by more than 3.5 K;
- liquid on its way through head and column, which counts in the cuts and the residue but is not in the pot: `HOLDUP` of all
  that was distilled where the sheet states none, half of it like the cut that is taken next, known within a factor of two.

All these sizes are common practice, no source. The repeated error is summed out in closed form, the others on a few values.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.channels import TABLE_MARGIN, TABLE_SIZE, Range
from fractionkit.inference.joint import logsumexp
from fractionkit.inference.predict import BoilingSolver, BoilingTable, cells_from_fractions

Array = NDArray[np.float64]

POT = "pot temperature"
BIAS, REPEAT = 1.0, 0.5  # K
SOLUTE, SOLUTE_VALUES, MOST_SOLUTE = 0.04, 20, 0.6
HOLDUP = 0.015
HOLDUP_VALUES = np.array(
    [0.15, 1.0, 1.85]
)  # times the hold-up, as Gauss and Hermite's three points of a deviation of half
HOLDUP_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
SLOPE_STEP = 0.005  # mass fraction, for slopes of the bubble point


def solutes() -> tuple[Array, Array]:
    """Values of q and their probabilities: rises at most 0.8 K apart, closer where they are likely."""
    edges = np.expm1(np.log1p(MOST_SOLUTE) * np.linspace(0.0, 1.0, SOLUTE_VALUES + 1) ** 1.3)
    beyond = (1.0 + edges / SOLUTE) ** -2
    weight = beyond[:-1] - beyond[1:]
    middle = SOLUTE * ((0.5 * (beyond[:-1] + beyond[1:])) ** -0.5 - 1.0)
    return middle, weight / weight.sum()


def rise_by_pressure(table: BoilingTable | BoilingSolver) -> float:
    """dT/d(ln P) in K of an even mixture: it differs by a tenth between the solvents that this is for."""
    if isinstance(table, BoilingTable):
        return float(table.values[..., 1].mean())
    n = table.mixture.n
    return float(table.at(np.full((1, n - 1), 1.0 / n)).by_pressure[0])


class Elevated(Range):
    """A pot temperature alone: the bubble point is at the reading or below it, by the errors named above."""

    @classmethod
    def of(cls, value: Array, by_pressure: float) -> Elevated:
        """Readings (K,) of residues in K, NaN where not taken; by_pressure : dT/d(ln P) in K."""
        raised, weight = solutes()
        sd = np.hypot(BIAS, REPEAT)
        taken = np.isfinite(value)
        read = np.where(taken, value, 300.0)
        below = by_pressure * np.log1p(raised)
        origin = read - below[-1] - TABLE_MARGIN * sd
        step = np.full(len(value), (below[-1] + 2.0 * TABLE_MARGIN * sd) / (TABLE_SIZE - 1))
        eta = origin[:, None] + step[:, None] * np.arange(TABLE_SIZE)
        table = logsumexp(np.log(weight) - 0.5 * ((eta[..., None] + below - read[:, None, None]) / sd) ** 2, axis=2)
        table -= table.max(axis=1, keepdims=True)
        table[~taken] = 0.0
        low, high = (np.where(taken, at, np.nan) for at in (read - by_pressure * np.log1p(SOLUTE), read))
        return cls(low, high, np.full(len(value), sd), origin, step, table, np.zeros(len(value)))

    def no_narrower(self, prediction: Array, across_cell: Array) -> Range:
        """The same: it is wide against any cell."""
        del prediction, across_cell
        return self

    def spread(self) -> Array:
        """Standard deviation (K,) of a reading about the bubble point, the rise by solutes included."""
        raised, weight = solutes()
        below = (self.end - self.start)[:, None] * np.log1p(raised) / np.log1p(SOLUTE)
        return np.asarray(np.sqrt(self.sd**2 + (below - below @ weight[:, None]) ** 2 @ weight))

    def scale(self) -> Array:
        """See `Scatter`."""
        return np.where(np.isnan(self.start), np.inf, self.sd)


@dataclass(frozen=True)
class Trace:
    """D runs drawn down to some vessel.

    held : (D, n) kg in the pot. total, square : (D, E) sums of the readings' residuals and of their squares, K and K2, for E
    sets of errors that are not the thermometer's. log : (D,) logarithm of the readings' likelihood. count : of readings.
    """

    held: Array
    total: Array
    square: Array
    log: Array
    count: int

    def take(self, picked: NDArray[np.intp]) -> Trace:
        """Some of the runs, or some of them more than once."""
        return Trace(self.held[picked], self.total[picked], self.square[picked], self.log[picked], self.count)


@dataclass(frozen=True)
class Pots:
    """Pot temperatures of a run of V vessels (cuts, then the residue), and what the shared errors do to boiling points.

    reading : (V,) K, NaN where none: entry v is of the pot that still held vessel v and all after it. mass : (V,) kg.
    holdup : kg. table : bubble points at the run's pressure. moved, bent, pressed : (S, q), (S, r), (S,) samples of the shared
    errors that move the table's columns (bent: squared; pressed: change of ln pressure). alone : (S, G) log likelihood that the
    residue's own reading has already been given on its nodes, None where it was not read.
    """

    reading: Array
    mass: Array
    holdup: float
    table: BoilingTable | BoilingSolver
    moved: Array
    bent: Array
    pressed: Array
    by_pressure: float
    alone: Array | None

    @cached_property
    def _errors(self) -> tuple[Array, Array, Array]:
        """Solute, hold-up and log probability (E,) of all sets of errors."""
        raised, weight = solutes()
        q, h = np.repeat(raised, len(HOLDUP_VALUES)), np.tile(HOLDUP_VALUES, len(raised))
        return q, h, np.log(np.outer(weight, HOLDUP_WEIGHTS).ravel())

    def read(self, v: int) -> bool:
        """Whether the pot was read while it held vessel ``v`` and all after it."""
        return bool(np.isfinite(self.reading[v]))

    def begin(self, count: int) -> Trace:
        """Of ``count`` runs of which nothing has been drawn yet."""
        none = np.zeros((count, len(self._errors[0])))
        return Trace(np.zeros((count, 0)), none, none, np.zeros(count), 0)

    def update(self, trace: Trace, v: int, own: Array, samples: NDArray[np.intp]) -> tuple[Array, Trace]:
        """Add vessel ``v`` with mass fractions ``own`` (D, n); log likelihood (D,) of the reading given those after it.

        The residue's own reading has been counted on its nodes.
        """
        held = self.mass[v] * own + (trace.held if trace.held.size else 0.0)
        if not self.read(v):
            return np.zeros(len(own)), Trace(held, trace.total, trace.square, trace.log, trace.count)
        residual = self._residual(v, held, own, samples)
        total, square, count = trace.total + residual, trace.square + residual**2, trace.count + 1
        log = logsumexp(self._log(total, square, count), axis=1)
        gain = np.zeros(len(own)) if v == len(self.mass) - 1 else log - trace.log
        return gain, Trace(held, total, square, log, count)

    def _log(self, total: Array, square: Array, count: int) -> Array:
        """(D, E) log likelihood of ``count`` readings, the thermometer's error summed out, with the errors' own."""
        fit = square - total**2 / (count + (REPEAT / BIAS) ** 2)
        return np.asarray(self._errors[2] - 0.5 * fit / REPEAT**2)

    def _residual(self, v: int, held: Array, own: Array, samples: NDArray[np.intp]) -> Array:
        """Reading less prediction, (D, E)."""
        q, h, _ = self._errors
        boiling = self.boiling(held, samples)
        away = self.boiling(held - self._on_its_way(v) * own, samples) - boiling
        raised = self.by_pressure * np.log1p(q * self.mass[-1] / self.mass[v:].sum())
        return np.asarray(self.reading[v] - boiling[:, None] - away[:, None] * h - raised)

    def _on_its_way(self, v: int) -> float:
        """Kg of the next cut's composition that are not in the pot; none once the residue has been left alone."""
        return 0.0 if v == len(self.mass) - 1 else min(0.5 * self.holdup, 0.5 * float(self.mass[v]))

    def boiling(self, held: Array, samples: NDArray[np.intp]) -> Array:
        """Bubble points (D,) in K of ``held`` (D, n) kg with the shared errors of each run's sample."""
        w = np.maximum(held, 0.0)
        w = w / w.sum(axis=1, keepdims=True)
        found = self.table.at(cells_from_fractions(w) if w.shape[1] < 4 else w[:, :-1])
        return np.asarray(
            found.temperature
            + (found.moved * self.moved[samples]).sum(axis=1)
            + (found.bent * self.bent[samples]).sum(axis=1)
            + found.by_pressure * self.pressed[samples]
        )

    def log_likelihood(self, w: Array, samples: NDArray[np.intp]) -> Array:
        """Of the readings of whole runs with mass fractions w (D, V, n) given the residue's own, (D,)."""
        trace, total = self.begin(len(w)), np.zeros(len(w))
        for v in range(len(self.mass) - 1, -1, -1):
            gain, trace = self.update(trace, v, w[:, v], samples)
            total += gain
        return total

    def swept(self, w: list[Array], samples: NDArray[np.intp], rng: np.random.Generator) -> Swept:
        """For a Gibbs sweep of runs with mass fractions ``w``, V of (D, n): errors drawn, slopes taken."""
        return Swept.of(self, w, samples, rng)


@dataclass
class Swept:
    """D whole runs with their errors of the pot drawn.

    off : (D, V) K by which each reading lies above its prediction, all errors counted. slope : (D, V, n - 1) change of the
    prediction for one kg more of a component in the pot, and less of the last one. held : V of (D, n) kg. w : V of (D, n).
    """

    pots: Pots
    samples: NDArray[np.intp]
    off: Array
    slope: Array
    held: list[Array]
    w: list[Array]

    @classmethod
    def of(cls, pots: Pots, w: list[Array], samples: NDArray[np.intp], rng: np.random.Generator) -> Swept:
        """Errors from their distribution given the runs."""
        trace, size = pots.begin(len(samples)), len(w)
        n = w[0].shape[1]
        residual: dict[int, Array] = {}
        held: list[Array] = [np.zeros((0, n))] * size
        slope = np.zeros((len(samples), size, n - 1))
        for v in range(size - 1, -1, -1):
            _, trace = pots.update(trace, v, w[v], samples)
            held[v] = trace.held
            if pots.read(v):
                residual[v] = pots._residual(v, trace.held, w[v], samples)
                slope[:, v] = _slope(pots, trace.held, samples)
        log = pots._log(trace.total, trace.square, trace.count)
        share = np.cumsum(np.exp(log - log.max(axis=1, keepdims=True)), axis=1)
        drawn = (share < rng.random((len(share), 1)) * share[:, -1:]).sum(axis=1)
        rows = np.arange(len(samples))
        loose = trace.count + (REPEAT / BIAS) ** 2
        bias = trace.total[rows, drawn] / loose + REPEAT / np.sqrt(loose) * rng.standard_normal(len(rows))
        off = np.zeros((len(samples), size))
        for v, part in residual.items():
            off[:, v] = part[rows, drawn] - bias
        return cls(pots, samples, off, slope, held, list(w))

    def factor(self, v: int, nodes: Array, part: slice) -> Array:
        """What the readings make of each node (G, n) of vessel ``v``, for some of the runs: (D', G), largest 1 in each row.

        Predictions are linear about the current run: a quadratic form, one matrix product.
        """
        upto = slice(0, v + 1)
        slope, mass = self.slope[part, upto], self.pots.mass[v]
        curve = np.einsum("dji,djk->dik", slope, slope) * (mass / REPEAT) ** 2
        pull = np.einsum("dji,dj->di", slope, self.off[part, upto]) * mass / REPEAT**2
        pull += np.einsum("dik,dk->di", curve, self.w[v][part, :-1])
        own = nodes[:, :-1]
        log = pull @ own.T
        log -= 0.5 * curve.reshape(len(curve), -1) @ np.einsum("gi,gk->gik", own, own).reshape(len(own), -1).T
        if v == len(self.pots.mass) - 1 and self.pots.alone is not None:
            log -= self.pots.alone[self.samples[part]]
        log -= log.max(axis=1, keepdims=True)
        return np.asarray(np.exp(log, out=log))

    def move(self, v: int, own: Array) -> None:
        """Vessel ``v`` has been drawn anew: mass fractions (D, n)."""
        change = self.pots.mass[v] * (own - self.w[v])
        self.w[v] = own
        for j in range(v + 1):  # a run has few vessels
            if self.pots.read(j):
                there = self.held[j] + change
                self.off[:, j] -= self.pots.boiling(there, self.samples) - self.pots.boiling(self.held[j], self.samples)
            self.held[j] = self.held[j] + change


def _slope(pots: Pots, held: Array, samples: NDArray[np.intp]) -> Array:
    """Change of the bubble point (D, n - 1) for one kg of each component but the last, which is less by as much."""
    found = np.empty((len(held), held.shape[1] - 1))
    step = SLOPE_STEP * held.sum(axis=1)
    for i in range(found.shape[1]):
        more, less = held.copy(), held.copy()
        up, down = np.minimum(step, held[:, -1]), np.minimum(step, held[:, i])
        more[:, i] += up
        more[:, -1] -= up
        less[:, i] -= down
        less[:, -1] += down
        found[:, i] = (pots.boiling(more, samples) - pots.boiling(less, samples)) / np.maximum(up + down, 1e-12)
    return found
