"""How likely one kind of reading is, given a composition and the shared errors.

Every kind of reading is compared with a prediction eta that the shared errors move (`joint.Channel`). What differs from
kind to kind is only the distribution of the reading about eta.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A sum over cells of a normal curve of standard deviation 0.8 cells is constant to 2 exp(-2 (0.8 pi)^2) = 6e-6 wherever
# the curve stands against the cells. It must be: the sum's ripple would look like evidence on the shared errors.
SMOOTH = 0.8
TABLE_SIZE = 512
TABLE_MARGIN = 9.0  # standard deviations beyond the range, after which the table goes on as a straight line
RANGE_NODES = 160
PLACE_VARIANCE, EVEN_VARIANCE = 0.13**2, 0.25 / 3.4  # of what `_place_nodes` mixes
# K between boiling points of neighbours from which on places may lie anywhere, and over which the share of such grows.
GAP, GAP_REACH, MOST_EVEN = 60.0, 45.0, 0.7


class Scatter(Protocol):
    """Distribution of the readings of K cuts about their predictions."""

    def log_likelihood(self, eta: Array) -> Array:
        """(K, ...) predictions -> (K, ...) logarithm of the likelihood, at most 0; 0 where nothing was read."""
        ...

    def derivatives(self, eta: Array) -> tuple[Array, Array]:
        """First and second derivative of `log_likelihood` in eta, each (K, ...)."""
        ...

    def misfit(self, eta: Array) -> Array:
        """Squared normal deviate of the reading, (K, ...), zero where nothing was read."""
        ...

    def count(self) -> NDArray[np.int_]:
        """How many readings (K,) this stands for, as evidence: one a cut for which it was taken."""
        ...

    def scale(self) -> Array:
        """Standard deviation with which the reading tells eta, (K,), or (K, G) where nodes differ; infinite where nothing was
        read.
        """
        ...

    def widened(self, eta: Array, variance: Array) -> Array:
        """Log likelihood with ``variance`` (K, ...) added to the scatter; used to find where the posterior lies."""
        ...


def _column(values: Array, like: Array) -> Array:
    return values.reshape(values.shape + (1,) * (like.ndim - values.ndim))


@dataclass(frozen=True)
class Normal:
    """A reading with normal repeatability.

    value : (K,); precision : (K,) or (K, G), 1/sd^2, zero where not taken. log_amplitude : like precision; a likelihood
    narrower than `SMOOTH` cells is widened to that, lower by as much as it is wider, so that its integral is kept.
    wider : (K, G) by how much the variance on each node is more than the reading's own, before that; 1 on all nodes.
    """

    value: Array
    precision: Array
    log_amplitude: Array
    wider: Array | float = 1.0

    @classmethod
    def of(
        cls, value: Array, sd: Array, across_cell: Array | None = None, power: float = 1.0, more: Array | None = None
    ) -> Normal:
        """From readings (K,) and their standard uncertainties, NaN where not taken.

        across_cell : (K, G) squared change of the prediction across each node's cell. power : to which the likelihood will
        be raised: the integral of that power is kept. more : (K, G) variance besides, where it differs from node to node.
        """
        taken = np.isfinite(value) & np.isfinite(sd)
        plain = np.where(taken, 1.0 / np.where(taken, sd, 1.0) ** 2, 0.0)
        value = np.where(taken, value, 0.0)
        if across_cell is None:
            return cls(value, plain, np.zeros_like(plain))
        wider = 1.0 if more is None else 1.0 + plain[:, None] * more
        precision = plain[:, None] / wider
        spread = np.maximum(1.0, SMOOTH**2 * precision * across_cell)
        return cls(value, precision / spread, -0.5 * np.log(wider) - 0.5 / power * np.log(spread), wider)

    def log_likelihood(self, eta: Array) -> Array:
        """See `Scatter`."""
        deviation = eta - _column(self.value, eta)
        deviation *= deviation
        deviation *= _column(-0.5 * self.precision, eta)
        deviation += _column(self.log_amplitude, eta)
        return deviation

    def derivatives(self, eta: Array) -> tuple[Array, Array]:
        """See `Scatter`."""
        precision = _column(self.precision, eta)
        return (_column(self.value, eta) - eta) * precision, np.broadcast_to(-precision, eta.shape)

    def misfit(self, eta: Array) -> Array:
        """See `Scatter`."""
        return (eta - _column(self.value, eta)) ** 2 * _column(self.precision, eta)

    def count(self) -> NDArray[np.int_]:
        """See `Scatter`."""
        return (self.precision.reshape(len(self.value), -1) > 0.0).any(axis=1).astype(int)

    def scale(self) -> Array:
        """See `Scatter`; the sharpest node's, but for a variance that differs from node to node."""
        sharpest = (self.precision.reshape(len(self.value), -1) * self.wider).max(axis=1)
        own = np.where(sharpest > 0.0, 1.0 / np.sqrt(np.where(sharpest > 0.0, sharpest, 1.0)), np.inf)
        return own if np.ndim(self.wider) == 0 else own[:, None] * np.sqrt(self.wider)

    def widened(self, eta: Array, variance: Array) -> Array:
        """See `Scatter`."""
        precision = _column(self.precision, eta)
        return -0.5 * (_column(self.value, eta) - eta) ** 2 * precision / (1.0 + precision * variance)


@dataclass(frozen=True)
class Range:
    """A property that lies between two readings: the head temperature at the start and at the end of a cut.

    The cut's own value is eta = (1 - s) start + s end with s unknown: it lies between the two, mostly near the middle,
    sometimes near an end (a cut that spans a sharp change). s ~ 0.6 Beta(20, 20) + 0.4 Beta(3, 3): in simulated
    distillations of pairs, differential and with 2 to 5 stages, s had mean 0.49, standard deviation 0.05 to 0.09 and 1 %
    beyond 0.10 and 0.87; the wider mixture leaves room for a head thermometer that lags. Where boiling points lie far
    apart, steep fronts pass: 60 K apart s had standard deviation 0.15, 70 K 0.19, 80 K 0.21, 90 K 0.24, with a tenth of
    all cuts beyond 0.87. A share ``even`` is Beta(1.2, 1.2) there, see `evenly`. ``start``, ``end``, ``sd``, ``even`` are
    (K,), ``sd`` being the repeatability of one reading; where only one of the two was read it stands alone. The integral
    over s is tabulated once a cut.
    """

    start: Array
    end: Array
    sd: Array
    origin: Array
    step: Array
    table: Array
    even: Array

    @classmethod
    def between(cls, start: Array, end: Array, sd: Array, even: float | Array = 0.0) -> Range:
        """Tabulate the likelihood of eta for (K,) readings in K."""
        even = np.broadcast_to(even, start.shape)
        low = np.where(np.isnan(start), end, start)
        high = np.where(np.isnan(end), low, end)
        low, high = np.minimum(low, high), np.maximum(low, high)
        untaken = np.isnan(low)
        low, high = np.where(untaken, 300.0, low), np.where(untaken, 300.0, high)
        sd = np.where(untaken | np.isnan(sd), 1.0, sd)
        nodes, weights = _place_nodes(even)
        origin = low - TABLE_MARGIN * sd
        step = (high - low + 2.0 * TABLE_MARGIN * sd) / (TABLE_SIZE - 1)
        table = np.empty((len(low), TABLE_SIZE))
        # Where the two readings are far apart the kernel is narrow against the nodes: it is never taken narrower
        # than half their spacing, at which the sum over nodes is still smooth to 1 %.
        width_of_mean = np.sqrt((1.0 - nodes) ** 2 + nodes**2)
        floor = 0.5 * (high - low)[:, None] / RANGE_NODES
        kernel = np.sqrt((sd[:, None] * width_of_mean) ** 2 + floor**2)
        centre = low[:, None] + (high - low)[:, None] * nodes
        for first in range(0, len(low), 4):  # memory, not arithmetic: (4, table, nodes) stay in the cache
            part = slice(first, first + 4)
            eta = origin[part, None] + step[part, None] * np.arange(TABLE_SIZE)
            z = (eta[..., None] - centre[part, None, :]) / kernel[part, None, :]
            exponent = -0.5 * z**2 + np.log(weights[part] / kernel[part])[:, None, :]
            top = exponent.max(axis=-1, keepdims=True)
            table[part] = top[..., 0] + np.log(np.exp(exponent - top).sum(axis=-1))
        table -= table.max(axis=1, keepdims=True)
        table[untaken] = 0.0
        return cls(np.where(untaken, np.nan, low), np.where(untaken, np.nan, high), sd, origin, step, table, even)

    def no_narrower(self, prediction: Array, across_cell: Array) -> Range:
        """The same with repeatabilities of at least `SMOOTH` cells, from predictions (K, G) and their squared change.

        Only cells near the readings count; tables are made anew for those cuts alone that need it.
        """
        low, high = self.start[:, None] - 3.0 * self.sd[:, None], self.end[:, None] + 3.0 * self.sd[:, None]
        reached = (prediction + np.sqrt(across_cell) >= low) & (prediction - np.sqrt(across_cell) <= high)
        least = SMOOTH * np.sqrt(np.where(reached, across_cell, 0.0).max(axis=1))
        rough = np.flatnonzero(least > self.sd)
        if not rough.size:
            return self
        smooth = Range.between(self.start[rough], self.end[rough], least[rough], self.even[rough])
        parts = {f.name: getattr(self, f.name).copy() for f in fields(self)}
        for name, values in parts.items():
            values[rough] = getattr(smooth, name)
        return Range(**parts)

    def part(self, cuts: slice) -> Range:
        """Some of the cuts."""
        return Range(*(getattr(self, f.name)[cuts] for f in fields(self)))

    def _place(self, eta: Array) -> tuple[NDArray[np.int32], Array]:
        position = eta - _column(self.origin, eta)
        position *= _column(1.0 / self.step, eta)
        cell = position.astype(np.int32)
        np.clip(cell, 0, TABLE_SIZE - 2, out=cell)
        position -= cell
        return cell, position

    def _ends(self, cell: NDArray[np.int32]) -> tuple[Array, Array]:
        row = np.arange(0, self.table.size, TABLE_SIZE, dtype=np.int32)
        at = cell + row.reshape((-1,) + (1,) * (cell.ndim - 1))
        flat = self.table.ravel()
        return np.take(flat, at), np.take(flat, at + 1)

    def log_likelihood(self, eta: Array) -> Array:
        """See `Scatter`."""
        cell, share = self._place(eta)
        left, right = self._ends(cell)
        right -= left
        right *= share
        right += left
        return right

    def derivatives(self, eta: Array) -> tuple[Array, Array]:
        """See `Scatter`; the second derivative is taken over two table steps."""
        cell, _ = self._place(eta)
        left, right = self._ends(cell)
        step = _column(self.step, eta)
        before, _ = self._ends(np.maximum(cell - 1, 0))
        _, after = self._ends(np.minimum(cell + 1, TABLE_SIZE - 2))
        return (right - left) / step, ((after - right) - (left - before)) / (2.0 * step**2)

    def misfit(self, eta: Array) -> Array:
        """See `Scatter`; against the likeliest place between the readings."""
        return -2.0 * self.log_likelihood(eta)

    def count(self) -> NDArray[np.int_]:
        """See `Scatter`; start and end together place the cut once."""
        return np.isfinite(self.start).astype(int)

    def scale(self) -> Array:
        """See `Scatter`; repeatability of the mean of two readings, and the place between them."""
        width = np.hypot(0.75 * self.sd, self.place_sd() * (self.end - self.start))
        return np.where(np.isnan(self.start), np.inf, width)

    def place_sd(self) -> Array:
        """Standard deviation (K,) of s."""
        return np.asarray(np.sqrt(PLACE_VARIANCE + self.even * (EVEN_VARIANCE - PLACE_VARIANCE)))

    def widened(self, eta: Array, variance: Array) -> Array:
        """See `Scatter`; outside the range a normal tail, inside it nothing is excluded."""
        low, high = _column(self.start, eta), _column(self.end, eta)
        outside = np.maximum(np.maximum(low - eta, eta - high), 0.0)
        return np.nan_to_num(-0.5 * outside**2 / (_column(self.sd**2, eta) + variance), nan=0.0)


def evenly(boiling: Array) -> float:
    """Share of places that may lie anywhere between two head temperatures, for components that boil at (n,) in K.

    What counts is the widest gap between neighbours: three components that boil 21 and 60 K apart had places as a pair 60 K
    apart, not 81 K.
    """
    gap = float(np.diff(np.sort(boiling)).max(initial=0.0))
    return float(np.clip((gap - GAP) / GAP_REACH, 0.0, MOST_EVEN))


def _place_nodes(even: Array) -> tuple[Array, Array]:
    """Nodes (N,) in (0, 1) and the weights (K, N) of the mixture of Beta densities on them: midpoints of equal steps."""
    nodes = (np.arange(RANGE_NODES) + 0.5) / RANGE_NODES
    product = nodes * (1.0 - nodes)
    narrow, wide, flat = (part / part.sum() for part in (product**19, product**2, product**0.2))
    usual = 0.6 * narrow + 0.4 * wide
    return nodes, usual + even[:, None] * (flat - usual)


class Unmoved:
    """What a channel says that no shared error moves, and that is no reading with a deviate of its own."""

    def log_likelihood(self, eta: Array) -> Array:
        """See `Scatter`."""
        raise NotImplementedError

    def derivatives(self, eta: Array) -> tuple[Array, Array]:
        """See `Scatter`; nothing asks for more than zeros."""
        return np.zeros_like(eta), np.zeros_like(eta)

    def misfit(self, eta: Array) -> Array:
        """See `Scatter`; what comes out as it should misfits hardly."""
        return -2.0 * self.log_likelihood(eta)

    def count(self) -> NDArray[np.int_]:
        """See `Scatter`; there is no deviate to count."""
        return np.zeros(len(self.scale()), dtype=int)

    def scale(self) -> Array:
        """See `Scatter`; it tells yes or no."""
        raise NotImplementedError

    def widened(self, eta: Array, variance: Array) -> Array:
        """See `Scatter`; there is no variance to widen."""
        del variance
        return self.log_likelihood(eta)


@dataclass(frozen=True)
class Detected(Unmoved):
    """A qualitative test. limit : (K,) mass fraction found 95 times in 100, NaN where not tested; sign : +1 positive.

    The chance of a positive rises from 5 % at nothing to 95 % at the limit as a normal distribution function, the two
    errors of 5 % that define a detection limit (Currie, Pure Appl. Chem. 67 (1995) 1699).
    """

    limit: Array
    sign: Array

    def log_likelihood(self, eta: Array) -> Array:
        """See `Scatter`."""
        from scipy.special import log_ndtr

        z = (eta / _column(self.limit, eta) - 0.5) * 2.0 * 1.6448536
        return np.where(np.isnan(z), 0.0, log_ndtr(_column(self.sign, eta) * np.nan_to_num(z)))

    def scale(self) -> Array:
        """See `Scatter`."""
        return np.full(len(self.limit), np.inf)
