"""Log densities of a block's nodes with many samples of the shared errors at once.

Predictions on every node with hundreds of samples are what an inference spends its time on. So every kind of reading is
brought to a coordinate z of which its log likelihood is a function without further arrays: of a normal reading z is the
deviation over the root of two standard deviations, and the log likelihood -z^2; of a tabulated one z is the place in its
table. z is linear in (1, theta, theta^2): one matrix product, a few cuts at a time, so that everything stays in the
processor's cache, in single precision: a log density is then right to 1e-4, far less than the samples' own noise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.channels import TABLE_SIZE, Normal, Range

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Places = tuple[NDArray[np.intp], NDArray[np.intp]]

AT_HAND = 1 << 18  # numbers in the largest temporary array: 1 MB


@dataclass(frozen=True)
class Row:
    """One kind of reading on G nodes of C cuts.

    matrix : (C, G, 1 + q + r) z, and its change for one unit of each of the ``errors`` (q,) and of the squares of the
    ``bending`` (r,). table : (C, T) log likelihood by place as the real part, the step to the next place as the imaginary
    one; None of a normal reading.
    """

    matrix: Single
    errors: NDArray[np.intp]
    bending: NDArray[np.intp]
    table: NDArray[np.complex64] | None

    @classmethod
    def of(cls, scatter: Normal | Range, parts: tuple[Array, Array, Array], places: Places, power: float) -> Row:
        """From prediction (C, G), jacobian (C, G, q) and bend (C, G, r), and which errors these are of."""
        if isinstance(scatter, Normal):
            origin, scale, table = scatter.value, np.sqrt(0.5 * power * scatter.precision), None
        else:
            origin, scale = scatter.origin, 1.0 / scatter.step
            table = (power * scatter.table).astype(np.complex64)
            table[:, :-1] += 1j * np.diff(power * scatter.table, axis=1)
        scale = scale.reshape(len(scale), -1)
        prediction, jacobian, bend = parts
        matrix = np.empty((*prediction.shape, 1 + jacobian.shape[2] + bend.shape[2]), dtype=np.float32)
        matrix[..., 0] = (prediction - origin[:, None]) * scale
        matrix[..., 1 : 1 + jacobian.shape[2]] = jacobian * scale[..., None]
        matrix[..., 1 + jacobian.shape[2] :] = bend * scale[..., None]
        return cls(matrix, *places, table)

    def log_likelihood(self, cuts: slice, powers: tuple[Single, Single]) -> tuple[Single, Single]:
        """(C', G, S) of some cuts with theta and theta^2, each (p, S), and its change by z (-z/2 of it for a normal reading)."""
        theta, square = powers
        part = self.matrix[cuts]
        columns = np.concatenate([np.ones((1, theta.shape[1]), np.float32), theta[self.errors], square[self.bending]])
        z = (part.reshape(-1, part.shape[2]) @ columns).reshape(*part.shape[:2], -1)
        if self.table is None:
            return -(z * z), z
        cell = z.astype(np.int32)
        np.clip(cell, 0, TABLE_SIZE - 2, out=cell)
        z -= cell
        table = self.table[cuts]
        if len(table) > 1:
            cell += np.arange(0, table.size, TABLE_SIZE, dtype=np.int32)[:, None, None]
        found = np.take(table.ravel(), cell, mode="clip")
        z *= found.imag
        z += found.real
        return z, found.imag

    def pull(self, cuts: slice, theta: Array, weight: Single, slope: Single) -> Array:
        """(p, S) change of the sum over nodes of weight (C', G, S) times log likelihood, from what `log_likelihood` gave."""
        weight = weight * slope
        if self.table is None:
            weight *= -2.0
        flat = self.matrix[cuts].reshape(-1, self.matrix.shape[2])
        change = flat.T @ weight.reshape(len(flat), -1)
        found = np.zeros(theta.shape)
        last = 1 + len(self.errors)
        found[self.errors] = change[1:last]
        found[self.bending] += 2.0 * theta[self.bending] * change[last:]
        return found


@dataclass(frozen=True)
class Many:
    """The readings of a block. base : (C, G) log volume and what no shared error moves; rows : all else."""

    base: Single
    rows: tuple[Row, ...]
    power: float

    def log_density(self, theta: Array) -> Single:
        """(S, p) -> (C, G, S): as `joint.Block.log_density`."""
        found = np.empty((*self.base.shape, len(theta)), dtype=np.float32)
        for cuts, part, _ in self._parts(theta):
            found[cuts] = part
        return found

    def log_evidence(self, theta: Array) -> Array:
        """(S, p) -> (S,): log of every cut's sum over its nodes, to the power 1/``power``, of all cuts together."""
        total = np.zeros(len(theta))
        for _, part, _ in self._parts(theta):
            top = _freed(part)
            total += (np.log(part.sum(axis=1, dtype=np.float64)) + top).sum(axis=0, dtype=np.float64)
        return total / self.power

    def gradient(self, theta: Array) -> Array:
        """(S, p) -> (S, p): of `log_evidence`."""
        found = np.zeros(theta.T.shape)
        for cuts, part, slopes in self._parts(theta):
            _freed(part)
            part /= part.sum(axis=1, keepdims=True)
            for row, slope in zip(self.rows, slopes, strict=True):
                found += row.pull(cuts, theta.T, part, slope)
        return found.T / self.power

    def _parts(self, theta: Array) -> Iterator[tuple[slice, Single, list[Single]]]:
        """Log densities (C', G, S) of a few cuts at a time, and of every row what its slope follows from."""
        single = theta.T.astype(np.float32)
        powers = single, single**2
        step = max(1, AT_HAND // max(self.base.shape[1] * len(theta), 1))
        for first in range(0, len(self.base), step):
            cuts = slice(first, first + step)
            total = np.repeat(self.base[cuts, :, None], len(theta), axis=2)
            slopes = []
            for row in self.rows:
                value, slope = row.log_likelihood(cuts, powers)
                total += value
                slopes.append(slope)
            yield cuts, total, slopes


def _freed(log_density: Single) -> Single:
    """Exponentials in place, the greatest of each cut's (C, G, S) 1; the logarithm (C, S) of what it was."""
    top = log_density.max(axis=1, keepdims=True)
    log_density -= top
    np.exp(log_density, out=log_density)
    return np.asarray(top[:, 0])
