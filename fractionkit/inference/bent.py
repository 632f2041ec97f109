"""Coordinates in which a bent posterior of the shared errors is straight.

Samples drawn about a mode follow a posterior as far as it is straight. Along a bend ("banana") they meet only its middle,
and agree among themselves there: neither their effective number nor the tail of their weights shows what they never met.
The gradient does. In units of the aim it is -x where the posterior is the normal that the aim supposes; what x and -x have
in common of it is a third derivative: a bend, or a skewness.

Where it is large the samples are drawn in other coordinates, theta = centre + axes (z + T(z)), T_i a quadratic form of the z_j
before i, the widest first: what readings hold narrowly bends with what they leave open, not the other way round. Such a
map leaves volumes as they are and is undone coordinate by coordinate (a triangular map: Marzouk, Moselhy, Parno and
Spantini, Handbook of Uncertainty Quantification, Springer 2016, 785). T is fitted so that the gradient in z becomes -z.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PAIRS = 32  # mirrored samples looked at
BENT = 0.5  # mean square of the even part of the gradient in units of the aim from which on coordinates are bent
LOCAL_STEPS = (0.15, 0.03)  # standard deviations, of the differences that give the axes, coarse then fine
FITS, NARROWED, NEAREST = (
    14,
    4,
    0.25,
)  # rounds of fitting T, how often at most nearer to the mode; spread of the first samples
HELD = 0.35
LOOSE = 0.8  # how far off a gradient may be, in standard deviations of the samples, for T to be fitted to it
DRAWN, TERMS = 256, 8  # samples in each round, terms that change at most in one coordinate
LEAST_TERM, SURE = 0.03, 4.5  # of T; standard errors that one must have not to be chance
WIDEST = 4.0  # standard deviation of a z, at most


@dataclass(frozen=True)
class Shear:
    """theta = centre + axes @ (z + T(z)), T_i = z^T bend_i z, of z before i. centre : (p,); axes : (p, p); bend : (p, p, p)."""

    centre: Array
    axes: Array
    bend: Array

    def bent(self, z: Array) -> Array:
        """(S, p) z -> theta."""
        x = z + np.einsum("ijk,sj,sk->si", self.bend, z, z, optimize=True)
        return np.asarray(self.centre + x @ self.axes.T)

    def straight(self, theta: Array) -> Array:
        """(S, p) theta -> z."""
        z = np.linalg.solve(self.axes, (theta - self.centre).T).T
        for i in np.flatnonzero(self.bend.any(axis=(1, 2))):  # rising: what T_i asks for is known
            z[:, i] -= ((z[:, :i] @ self.bend[i, :i, :i]) * z[:, :i]).sum(axis=1)
        return np.asarray(z)

    def pulled(self, z: Array, gradient: Array) -> Array:
        """(S, p) gradient by theta at z -> by z."""
        by_x = gradient @ self.axes
        both = self.bend + self.bend.transpose(0, 2, 1)
        return np.asarray(by_x + np.einsum("ijk,si,sk->sj", both, by_x, z, optimize=True))

    @property
    def log_volume(self) -> float:
        """Logarithm of the volume of theta for one of z."""
        return float(np.linalg.slogdet(self.axes)[1])


def unevenness(gradients: Callable[[Array], Array], centre: Array, root: Array, half: Array) -> float:
    """Greatest mean square of the even part of the gradient, in units of an aim with this root (p, p).

    half : (S, p) taken to either side of the centre. A few steep places, as where a composition meets an edge, count little.
    """
    half = half[:PAIRS]
    found = gradients(centre + np.concatenate([half, -half])) @ root
    even = 0.5 * (found[: len(half)] + found[len(half) :])
    return float(np.minimum(even**2, 4.0).mean(axis=0).max())


def straighten(
    gradients: Callable[[Array], Array], mode: Array, covariance: Array, rng: np.random.Generator
) -> tuple[Shear, Array] | None:
    """Coordinates in which the posterior with these ``gradients`` (S, p) -> (S, p) is straight, and the spread (p,) of each.

    T is fitted to samples close to the mode first, then ever farther as long as the fit holds; None where it does not hold
    as far as `HELD` standard deviations.
    """
    size = len(mode)
    shear = Shear(mode, _axes(gradients, mode, covariance), np.zeros((size, size, size)))
    spread, reach, held, ordered, narrowed = np.ones(size), NEAREST, 0.0, False, 0
    for _ in range(FITS):
        half = reach * rng.standard_normal((DRAWN // 2, size))
        z = np.concatenate([half, -half])
        gradient = shear.pulled(z, gradients(shear.bent(z)))
        off = np.sqrt(((gradient + z) ** 2).mean(axis=0)).max() / reach
        if off > LOOSE:
            narrowed += 1
            if narrowed > NARROWED:
                break
            reach *= 0.6
            continue
        if not ordered:
            order = _order(z, gradient)
            shear = Shear(mode, shear.axes[:, order], shear.bend)
            z, gradient, ordered = z[:, order], gradient[:, order], True
        shear, spread = _fitted(shear, z, gradient)
        held = reach
        if reach == 1.0:
            break
        reach = min(1.6 * reach, 1.0)
    return (shear, spread) if held >= HELD else None


def _order(z: Array, gradient: Array) -> NDArray[np.intp]:
    """Coordinates such that what bends stands after what it bends with: last, again and again, what bends the others least.

    A square z_j^2 in T_i shows in the gradient by z_i. A product z_j z_k shows alike in all three, but what it is of drives
    j and k against each other, as -z_j z_k^2 in the gradient by z_j.
    """
    square = z**2 - (z**2).mean(axis=0)
    noise = (gradient + z).std(axis=0)[:, None]
    size = np.sqrt((square**2).sum(axis=0))
    bends = np.abs(gradient.T @ square) / size**2  # (i, j): of i with the square of j
    np.fill_diagonal(bends, 0.0)
    bends[bends < np.maximum(LEAST_TERM, SURE * noise / size)] = 0.0
    size = np.sqrt((z**2).T @ square**2)
    drives = -(((gradient + z) * z).T @ square) / size**2  # (j, k)
    np.fill_diagonal(drives, 0.0)
    drives[drives < SURE * noise / size] = 0.0
    left, order = list(range(len(bends))), []
    while left:
        part = np.ix_(left, left)
        cost = (bends[part] ** 2).sum(axis=0) + drives[part].sum(axis=1)
        order.append(left.pop(int(np.flatnonzero(cost <= cost.min() + 1e-12)[-1])))
    return np.array(order[::-1])


def _axes(gradients: Callable[[Array], Array], mode: Array, covariance: Array) -> Array:
    """Principal axes (p, p) of the posterior close to its mode, one standard deviation long, the longest first."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(values)
    for step in LOCAL_STEPS:
        moves = step * root.T
        slope = gradients(mode + np.concatenate([moves, -moves])) @ root
        curvature = (slope[len(moves) :] - slope[: len(moves)]) / (2.0 * step)
        inner, turned = np.linalg.eigh(0.5 * (curvature + curvature.T))
        near = (root @ turned) / np.sqrt(np.clip(inner, 0.05, None))
        values, vectors = np.linalg.eigh(near @ near.T)
        root = vectors * np.sqrt(values)
    return np.asarray(root[:, ::-1])


def _fitted(shear: Shear, z: Array, gradient: Array) -> tuple[Shear, Array]:
    """T changed so that the gradient (S, p) by z is nearer to a multiple of z, and the spread that this means."""
    size = z.shape[1]
    bend, spread = shear.bend.copy(), np.ones(size)
    square = np.einsum("sj,sk->sjk", z, z)
    square -= square.mean(axis=0)
    for i in range(size):
        j, k = np.triu_indices(i)
        terms = square[:, j, k]
        slope = float(-(gradient[:, i] @ z[:, i]) / (z[:, i] @ z[:, i]))
        slope = max(slope, 1.0 / WIDEST**2)
        spread[i] = slope**-0.5
        if not len(j):
            continue
        each = np.abs(gradient[:, i] @ terms) / (terms**2).sum(axis=0)
        chosen = np.argsort(each)[::-1][:TERMS]
        columns = np.column_stack([terms[:, chosen], z[:, i], np.ones(len(z))])
        found = np.linalg.lstsq(columns, gradient[:, i], rcond=None)[0]
        noise = (gradient[:, i] - columns @ found).std() / np.sqrt((columns**2).sum(axis=0))
        found[np.abs(found) < np.maximum(LEAST_TERM * slope, SURE * noise)] = 0.0
        change = found[: len(chosen)] / slope
        bend[i, j[chosen], k[chosen]] += change
    return Shear(shear.centre, shear.axes, bend), spread
