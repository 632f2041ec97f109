"""Joint posterior of a run: compositions of all cuts and the errors that their readings share.

Given the shared errors theta ~ N(0, 1)^p the cuts are independent, and the posterior of each is summed exactly over its
nodes: Z_k(theta) = sum_g V_g exp(sum_c l_c(eta_c(w_g, theta))), eta = f(w) + J(w) theta and, for the activity errors,
B(w) theta^2. What is left is p-dimensional, p(theta | readings) ~ exp(-|theta|^2 / 2) prod_k Z_k(theta), near normal: its
mode is found by Newton's method with the exact gradient and Louis' Hessian (J. R. Stat. Soc. B 44 (1982) 226: second
derivative of a log marginal likelihood = mean second derivative + covariance of the first). `importance` draws samples
about it.

For that, Z_k is the sum to the power 1/beta of V_g times the likelihood to the power beta, beta the number of vessels up to
`MOST_POWER`. Compositions are not independent given theta, as the nodes' volumes V would have them: one distillation put
them side by side, so that what a volume prefers (pure cuts, room between an edge and the readings, a flat dew curve) is
one piece of evidence on theta, not one a cut. With beta the volumes of all cuts count once together, while each cut's
likeliest composition counts in full: the sum tends to the profile likelihood (Laplace). Given theta, each cut's
composition is distributed as its own readings and its volumes say (beta = 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.channels import Normal, Range, Scatter
from fractionkit.inference.many import Many, Row
from fractionkit.inference.nodes import Nodes

Array = NDArray[np.float64]

NEWTON_STEPS = 60
# Far from any reading a head range's likelihood falls as a straight line, without a curvature to tell how far to go.
LONGEST_STEP = 2.0
IMPROBABLE, RESTART = 6.0, 1.5  # squared distance of a mode from no errors; standard deviations
FEW_CUTS = 200  # beyond, the cuts fix the shared errors and Louis' formula holds
CURVATURE_STEP, LEAST_CURVATURE = 0.3, 0.7
LEAST_GAIN = 0.01  # of the log density, after which a further step moves the samples' aim by a seventh of their spread
# Three components: cells are wider against a posterior, and must resolve the likelihood to that power.
MOST_POWER = {2: 16.0, 3: 4.0}
POWER_BEYOND = 2.0  # of scattered points, few of which carry a sharp likelihood
CHUNK = 1 << 19  # numbers in the largest temporary array: 4 MB, about what a processor keeps at hand


@dataclass(frozen=True)
class Channel:
    """One kind of reading on the nodes of a block of C cuts.

    prediction : (C, G); errors : (q,) which shared errors move it; jacobian : (C, G, q) change for one standard
    deviation of each. bending : (r,) which of them move it by their square too, bend : (C, G, r).
    """

    kind: str
    scatter: Scatter
    prediction: Array
    errors: NDArray[np.intp]
    jacobian: Array
    bending: NDArray[np.intp]
    bend: Array

    def at(self, theta: Array) -> Array:
        """(p,) -> (C, G), or (S, p) -> (C, G, S): the prediction with these shared errors."""
        shape = self.prediction.shape
        many = np.atleast_2d(theta)
        if not len(self.errors):
            found = np.broadcast_to(self.prediction[..., None], (*shape, len(many)))
        else:
            found = (self.jacobian.reshape(-1, len(self.errors)) @ many[:, self.errors].T).reshape(*shape, -1)
            if len(self.bending):
                square = many[:, self.bending].T ** 2
                found += (self.bend.reshape(-1, len(self.bending)) @ square).reshape(*shape, -1)
            found += self.prediction[..., None]
        return found[..., 0] if theta.ndim == 1 else found

    def slope(self, theta: Array) -> Array:
        """(p,) -> (C, G, q): change for a small change of each shared error at ``theta``."""
        if not len(self.bending):
            return self.jacobian
        found = self.jacobian.copy()
        for k, error in enumerate(self.bending.tolist()):
            found[..., self.errors.tolist().index(error)] += 2.0 * self.bend[..., k] * theta[error]
        return found


@dataclass(frozen=True)
class Block:
    """Some cuts of the run, with their nodes and channels; ``cuts`` says which."""

    cuts: slice
    nodes: Nodes
    channels: tuple[Channel, ...]

    def log_density(self, theta: Array) -> Array:
        """(p,) -> (C, G), or (S, p) -> (C, G, S): log volume + log likelihood of each node, to the nodes' power.

        Of many samples in single precision.
        """
        if theta.ndim > 1:
            return self.many.log_density(theta).astype(np.float64)
        total = self.nodes.log_volume
        for channel in self.channels:
            total = total + self.nodes.power * channel.scatter.log_likelihood(channel.at(theta))
        return np.broadcast_to(
            total, (self.cuts.stop - self.cuts.start, total.shape[1])
        )  # one row where nothing was read

    @cached_property
    def many(self) -> Many:
        """The same for many samples at once."""
        base, power, rows = self.nodes.log_volume, self.nodes.power, []
        for channel in self.channels:
            if not len(channel.errors):  # nor does it bend: the same with all samples
                base = base + power * channel.scatter.log_likelihood(channel.prediction.copy())
                continue
            assert isinstance(channel.scatter, Normal | Range)  # a test feels no shared error
            if isinstance(channel.scatter, Normal):
                base = base + power * _by_node(channel.scatter.log_amplitude)
            parts = (channel.prediction, channel.jacobian, channel.bend)
            rows.append(Row.of(channel.scatter, parts, (channel.errors, channel.bending), power))
        base = np.broadcast_to(base, (self.cuts.stop - self.cuts.start, base.shape[1]))
        return Many(base.astype(np.float32), tuple(rows), power)


#: A block, which samples of the shared errors, and an array (C, G, S') over its nodes and those samples.
Piece = tuple[Block, slice, Array]


@dataclass(frozen=True)
class Expansion:
    """log p(theta | readings) up to a constant, with gradient (p,) and Hessian (p, p)."""

    value: float
    gradient: Array
    hessian: Array


def _by_node(values: Array) -> Array:
    """(K,) or (K, G) -> (K, 1) or (K, G)."""
    return values.reshape(len(values), -1)


def logsumexp(values: Array, axis: int) -> Array:
    """Logarithm of the sum of exponentials along ``axis``, without overflow."""
    top = values.max(axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    return np.asarray(np.log(np.exp(values - top).sum(axis=axis)) + np.squeeze(top, axis=axis))


def expand(blocks: Sequence[Block], theta: Array) -> Expansion:
    """Value, gradient and Hessian of the log posterior of the shared errors at ``theta`` (p,)."""
    size = len(theta)
    value = -0.5 * float(theta @ theta)
    gradient = -theta.copy()
    fisher, covariance = np.zeros((size, size)), np.zeros((size, size))
    for block in blocks:
        log_density = block.log_density(theta)
        log_z = logsumexp(log_density, axis=1)
        value += float(log_z.sum()) / block.nodes.power
        share = np.exp(log_density - log_z[:, None])
        slope = np.zeros((*share.shape, size))
        for channel in block.channels:
            first, second = channel.scatter.derivatives(channel.at(theta))
            moved = channel.slope(theta)
            slope[..., channel.errors] += first[..., None] * moved
            weight = np.maximum(-second, 0.0) * share
            fisher[np.ix_(channel.errors, channel.errors)] += np.einsum(
                "kg,kgp,kgq->pq", weight, moved, moved, optimize=True
            )
        mean = np.einsum("kg,kgp->kp", share, slope)
        gradient += mean.sum(axis=0)
        flat = (slope * np.sqrt(share)[..., None]).reshape(share.size, size)
        covariance += block.nodes.power * (flat.T @ flat - mean.T @ mean)
    return Expansion(value, gradient, -np.eye(size) - fisher + covariance)


def gradients(blocks: Sequence[Block], theta: Array) -> Array:
    """(S, p) -> (S, p): the gradient alone, as `expand` has it, at many places."""
    return np.asarray(sum((block.many.gradient(theta) for block in blocks), start=-theta))


def find_mode(blocks: Sequence[Block], size: int) -> tuple[Array, Array]:
    """Mode (p,) of the shared errors and the covariance (p, p) of the normal that matches it there.

    Where the first mode found is improbable by itself, the climb begins anew from either side of every error that bends
    a prediction, and the highest mode is taken: head temperatures far off can be met by a wrong error too.
    """
    theta = climb(blocks, np.zeros(size))
    if float(theta @ theta) > IMPROBABLE:
        bending = np.unique(np.concatenate([channel.bending for block in blocks for channel in block.channels]))
        starts = RESTART * np.concatenate([np.eye(size)[bending], -np.eye(size)[bending]])
        found = [theta, *(climb(blocks, start) for start in starts)]
        theta = max(found, key=lambda mode: expand(blocks, mode).value)
    return theta, spread_at(blocks, theta)


def climb(blocks: Sequence[Block], theta: Array) -> Array:
    """Mode (p,) of the shared errors, from ``theta``.

    Newton's method, steps no longer than `LONGEST_STEP`, each halved until it climbs, at most `NEWTON_STEPS` of them:
    how well the samples drawn about the mode serve is judged later.
    """
    here = expand(blocks, theta)
    for _ in range(NEWTON_STEPS):
        step = _ascent(here)
        promise = float(here.gradient @ step)
        if promise < 1e-3:  # a thirtieth of a standard deviation: the samples need no better aim
            break
        length = 1.0
        while length > 0.01:
            there = expand(blocks, theta + length * step)
            if there.value >= here.value + 1e-4 * length * promise:
                break
            length *= 0.5
        else:
            break  # as high as rounding lets it climb
        gain, theta, here = there.value - here.value, theta + length * step, there
        if gain < LEAST_GAIN:
            break
    return theta


def spread_at(blocks: Sequence[Block], mode: Array) -> Array:
    """Inverse (p, p) of minus the Hessian, by central differences of the gradient.

    Louis' formula is the difference of two large numbers where head temperatures leave a composition open, and wrong
    there; from `FEW_CUTS` on it serves.
    """
    if sum(block.cuts.stop - block.cuts.start for block in blocks) > FEW_CUTS:
        return _inverse(-expand(blocks, mode).hessian)
    moves = CURVATURE_STEP * np.eye(len(mode))
    slope = gradients(blocks, mode + np.concatenate([moves, -moves]))
    hessian = (slope[: len(mode)] - slope[len(mode) :]) / (2.0 * CURVATURE_STEP)
    return _inverse(-0.5 * (hessian + hessian.T))


def _inverse(curvature: Array) -> Array:
    """Of a symmetric matrix, eigenvalues above `LEAST_CURVATURE`: no posterior is much wider than the prior's 1."""
    values, vectors = np.linalg.eigh(curvature)
    return np.asarray((vectors / np.maximum(values, LEAST_CURVATURE)) @ vectors.T, dtype=np.float64)


def _ascent(here: Expansion) -> Array:
    """Newton's step; along directions in which the log density is convex, uphill by as much as if it were concave."""
    values, vectors = np.linalg.eigh(-here.hessian)
    step = vectors @ ((vectors.T @ here.gradient) / np.maximum(np.abs(values), LEAST_CURVATURE))
    return np.asarray(step * min(1.0, LONGEST_STEP / max(float(np.linalg.norm(step)), 1e-9)), dtype=np.float64)


def log_evidence(blocks: Sequence[Block], theta: Array) -> Array:
    """(S, p) -> (S,) log of prior times likelihood, cuts summed out."""
    return np.asarray(sum((block.many.log_evidence(theta) for block in blocks), start=-0.5 * (theta**2).sum(axis=1)))


def _pieces(blocks: Sequence[Block], count: int) -> Iterator[tuple[Block, slice]]:
    """Each block with a manageable part of the samples at a time."""
    for block in blocks:
        width = max(1, CHUNK // block.nodes.log_volume.size)
        for first in range(0, count, width):
            yield block, slice(first, min(first + width, count))


def shares(blocks: Sequence[Block], theta: Array) -> Iterator[Piece]:
    """Probability of every node given each sample, (C, G, S'), a manageable piece at a time."""
    for block, part in _pieces(blocks, len(theta)):
        share = block.many.log_density(theta[part])
        share -= share.max(axis=1, keepdims=True)
        np.exp(share, out=share)
        yield block, part, np.divide(share, share.sum(axis=1, keepdims=True, dtype=np.float64), dtype=np.float64)
