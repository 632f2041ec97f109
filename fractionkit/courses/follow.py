"""Which courses of the distillation the readings of a run allow: importance sampling over them.

Given a course and the shared errors the cuts are independent: each is summed over its nodes, its prior there replaced by
what strays about the course (`stray`). A course is a handful of numbers, and given one the readings are near normal in
the shared errors: predictions and their changes are averaged over what strays, and the errors integrated out in closed
form. Samples of courses are aimed in rounds at that (`search`), as the shared errors are in `importance`; errors are drawn
for those picked. Then every course is weighed exactly with every sample of the errors (`weigh`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.course import Course
from fractionkit.courses.stray import About, Cells
from fractionkit.inference.channels import Detected, Normal, Range
from fractionkit.inference.importance import HEAVIER_TAIL, Aim, next_aim, normalised
from fractionkit.inference.joint import Block, logsumexp
from fractionkit.inference.nodes import Nodes
from fractionkit.inference.summary import pick_samples

Array = NDArray[np.float64]

DRAWN, ROUNDS, ENOUGH, TEMPERED = 640, 12, 0.35, 0.12
COURSES, ERRORS = 320, 256  # weighed exactly
LEAST_COURSES = 12.0  # effective ones: each leaves the cuts free within what strays
CENTRES = 128  # courses about which the shared errors are drawn
TYPICAL = 256  # draws of what came over in all, to begin with
OPEN = 0.1  # standard deviation of the charge's angles beyond those draws
DIFFERENCE, CLIMB, LONGEST_STEP, LEAST_CURVATURE = 0.03, 15, 1.5, 0.7
OUTSIDE = -1e9
NOWHERE = 1e-3  # what a cut counts for whose course runs beside all its readings, where nothing is known of it


@dataclass(frozen=True)
class Place:
    """Where a vessel is found: its block, its row there, which nodes are looked at and what they weigh on the average."""

    block: Block
    row: int
    kept: NDArray[np.intp]
    weight: Array

    @property
    def nodes(self) -> Nodes:
        """Of its block."""
        return self.block.nodes


@dataclass(frozen=True)
class Searched:
    """Courses v (M, size), how often each was picked (M,), compositions (V, M, n), log likelihood ``near`` (M,) they were aimed
    at and ``hint`` (M,) in it; shared errors (S, p) drawn for them and the log density (S,) of their proposal, less the
    standard normal's constant. effective : effective number of courses.
    """

    v: Array
    picked: NDArray[np.intp]
    w: Array
    near: Array
    hint: Array
    theta: Array
    log_proposal: Array
    effective: float


@dataclass(frozen=True)
class Followed:
    """Courses and shared errors with their weights.

    factors : of every vessel, (M, G), what each course makes of its nodes' probabilities; about : of every vessel, what
    it holds by each course. weight : (S, M) of each sample of the shared errors with each course, summing to one. hint :
    (M,) log of a likelihood that was only to aim by and is still in the weights. effective : least effective number of
    courses and of samples of the errors.
    """

    factors: list[Array]
    about: list[About]
    weight: Array
    hint: Array
    effective: float


@dataclass(frozen=True)
class _Told:
    """What one vessel's readings say on merged cells: predictions less values (G, c), slopes (G, c, p), variance (c,).

    found : (G,) likelihood of its qualitative tests.
    """

    cells: Cells
    off: Array
    slope: Array
    variance: Array
    found: Array

    @classmethod
    def of(cls, place: Place, size: int) -> _Told:
        whole = np.zeros(place.nodes.log_volume.shape[1])
        whole[place.kept] = place.weight
        cells, kept = Cells.merged(place.nodes, place.row, whole)
        off, slope, variance, found = [], [], [], np.ones(len(kept))
        for channel in place.block.channels:
            prediction = _merged(channel.prediction[place.row], place.nodes.cells)[kept]
            scatter = channel.scatter
            if isinstance(scatter, Detected):
                row = Detected(scatter.limit[place.row : place.row + 1], scatter.sign[place.row : place.row + 1])
                found = found * np.exp(row.log_likelihood(prediction[None])[0])
                continue
            spread = scatter.scale()[place.row]
            if not np.isfinite(spread).all():
                continue
            assert isinstance(scatter, Normal | Range)
            if isinstance(scatter, Normal):
                value = scatter.value[place.row]
            else:
                value = 0.5 * (scatter.start[place.row] + scatter.end[place.row])
            moved = np.zeros((len(kept), size))
            moved[:, channel.errors] = _merged(channel.jacobian[place.row], place.nodes.cells)[kept]
            off.append(prediction - value)
            slope.append(moved)
            each = np.broadcast_to(spread, place.nodes.log_volume.shape[1:])
            variance.append(_merged(each**2, place.nodes.cells)[kept])
        if not off:
            return cls(cells, np.zeros((len(kept), 0)), np.zeros((len(kept), 0, size)), np.zeros((len(kept), 0)), found)
        return cls(cells, np.stack(off, axis=1), np.stack(slope, axis=1), np.stack(variance, axis=1), found)


def _merged(values: Array, cells: tuple[int, ...]) -> Array:
    """Means (G / 4, ...) over squares of four cells (or pairs) of values (G, ...)."""
    square = [part for size in cells for part in (size // 2, 2)]
    inner = tuple(range(1, 2 * len(cells), 2))
    count = math.prod(size // 2 for size in cells)  # said, for a reading that feels no shared error has no slopes
    return np.asarray(values.reshape(*square, *values.shape[1:]).mean(axis=inner).reshape(count, *values.shape[1:]))


@dataclass(frozen=True)
class _Normal:
    """Shared errors given each of M courses: root (M, p, p) of their precision, mean (M, p); log evidence (M,)."""

    root: Array
    mean: Array
    log_evidence: Array


def _normal(told: Sequence[_Told], w: Array, size: int) -> _Normal:
    """Shared errors integrated out, given courses that let the vessels hold w (V, M, n)."""
    count = w.shape[1]
    total = np.zeros(count)
    rows = [np.zeros((count, 0, size + 1))]  # of all readings, in their standard deviations: slopes, and how far off
    for vessel, part in zip(told, w, strict=True):
        held = vessel.cells.held(About.of(part)).T * vessel.found
        reached = held.sum(axis=1)
        total += np.log(reached + NOWHERE)
        kinds = vessel.variance.shape[1]
        if kinds == 0:
            continue
        held /= np.maximum(reached, 1e-30)[:, None]
        off = held @ vessel.off
        square = (vessel.off[:, :, None] * vessel.off[:, None, :]).reshape(-1, kinds * kinds)
        spread = (held @ square).reshape(count, kinds, kinds) - off[:, :, None] * off[:, None, :]
        beside = 1.0 - held.sum(axis=1, keepdims=True)  # of a course that runs beside all cells nothing is held
        spread[:, range(kinds), range(kinds)] += held @ vessel.variance + beside * vessel.variance.mean(axis=0)
        slope = (held @ vessel.slope.reshape(-1, kinds * size)).reshape(count, kinds, size)
        white, log_root = _whitened(spread, np.concatenate([slope, off[..., None]], axis=2))
        rows.append(white)
        total -= log_root
    white = np.concatenate(rows, axis=1)
    product = white.transpose(0, 2, 1) @ white
    precision, pull = np.eye(size) + product[:, :-1, :-1], -product[:, :-1, -1]
    total -= 0.5 * product[:, -1, -1]
    root = np.linalg.cholesky(precision)
    mean = np.linalg.solve(precision, pull[..., None])[..., 0]
    total += 0.5 * (pull * mean).sum(axis=1) - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return _Normal(np.asarray(root, dtype=np.float64), np.asarray(mean, dtype=np.float64), total)


def _whitened(spread: Array, values: Array) -> tuple[Array, Array]:
    """Values (M, k, r) in units of the root of spread (M, k, k), and half its log determinant (M,).

    Cholesky's factor and the forward substitution row by row, k being one or two: for hundreds of so small matrices
    that is several times as fast as a library's call for each.
    """
    root, white, log_root = np.zeros_like(spread), np.empty_like(values), np.zeros(len(spread))
    for i in range(spread.shape[1]):
        for j in range(i):
            known = (root[:, i, :j] * root[:, j, :j]).sum(axis=1)
            root[:, i, j] = (spread[:, i, j] - known) / root[:, j, j]
        root[:, i, i] = np.sqrt(spread[:, i, i] - (root[:, i, :i] ** 2).sum(axis=1))
        known = (root[:, i, :i, None] * white[:, :i]).sum(axis=1)
        white[:, i] = (values[:, i] - known) / root[:, i, i, None]
        log_root += np.log(root[:, i, i])
    return white, log_root


def search(places: Sequence[Place], course: Course, size: int, hint: Callable[[Array], Array]) -> Searched:
    """Courses that the readings allow, and shared errors (of ``size``) to weigh with them.

    places : of every vessel. hint : compositions (V, M, n) of courses -> (M,) log likelihood of what else will be asked.
    """
    rng = np.random.default_rng(20240702)
    told = [_Told.of(place, size) for place in places]

    def value(v: Array) -> tuple[Array, Array, Array]:
        """Log of prior times likelihood (M,) of courses v, and the likelihood's two parts."""
        w = course.vessels(v)
        near, hints = _normal(told, w, size).log_evidence, hint(w)
        return course.log_prior(v) + near + hints, near, hints

    start = _first_aim(course, places, rng)
    v = start.draw(DRAWN, rng)
    first = np.where(course.within(v), value(v)[0], OUTSIDE)
    aims = [_climb(lambda v: value(v)[0], v[int(np.argmax(first))])]
    v, target, near, hints = np.zeros((0, course.size)), np.zeros(0), np.zeros(0), np.zeros(0)
    for round_ in range(ROUNDS):
        fresh = aims[-1].draw(DRAWN, rng)
        v = np.concatenate([v, fresh])
        target, near, hints = (
            np.concatenate([old, new]) for old, new in zip((target, near, hints), value(fresh), strict=True)
        )
        proposal = logsumexp(np.stack([aim.log_density(v) for aim in aims]), axis=0) - math.log(len(aims))
        log_weight = np.where(course.within(v), target - proposal, OUTSIDE)
        weight = normalised(log_weight)
        effective = float(1.0 / (weight**2).sum())
        if (effective > ENOUGH * DRAWN and round_ >= 2) or round_ == ROUNDS - 1:
            break
        aims.append(next_aim(v, log_weight, TEMPERED * DRAWN))
    picked, often = np.unique(pick_samples(weight, COURSES, rng), return_counts=True)
    centres = pick_samples(weight, CENTRES, rng)
    theta, log_proposal = _errors(_normal(told, course.vessels(v[centres]), size), rng)
    return Searched(
        v[picked], often, course.vessels(v[picked]), near[picked], hints[picked], theta, log_proposal, effective
    )


def _climb(value: Callable[[Array], Array], v: Array) -> Aim:
    """A t distribution about the mode of ``value`` (M, d) -> (M,), climbed to from v (d,) by Newton's method on differences."""
    d = len(v)
    i, j = np.triu_indices(d, 1)
    steps = DIFFERENCE * np.concatenate([np.zeros((1, d)), np.eye(d), -np.eye(d), np.eye(d)[i] + np.eye(d)[j]])
    lengths = 0.5 ** np.arange(8.0)
    for _ in range(CLIMB):
        found = value(v + steps)
        here, up, down, both = found[0], found[1 : d + 1], found[d + 1 : 2 * d + 1], found[2 * d + 1 :]
        gradient = 0.5 * (up - down) / DIFFERENCE
        hessian = np.diag(up - 2.0 * here + down)
        hessian[i, j] = hessian[j, i] = both - up[i] - up[j] + here
        values, vectors = np.linalg.eigh(-hessian / DIFFERENCE**2)
        values = np.maximum(np.abs(values), LEAST_CURVATURE)
        step = vectors @ ((vectors.T @ gradient) / values)
        step *= min(1.0, LONGEST_STEP / float(np.abs(step).max()))
        tried = value(v + lengths[:, None] * step)
        best = int(np.argmax(tried))
        if tried[best] < here + 0.05:
            break
        v = v + lengths[best] * step
    root = np.linalg.cholesky((vectors / values) @ vectors.T)
    return Aim(v, np.asarray(root, dtype=np.float64), HEAVIER_TAIL)


def _errors(given: _Normal, rng: np.random.Generator) -> tuple[Array, Array]:
    """Shared errors (S, p) drawn given the courses, and the log density of all of them together, as `Aim.log_density`."""
    count, size = given.mean.shape
    which = np.resize(np.arange(count), ERRORS)
    scale = np.sqrt(HEAVIER_TAIL / rng.chisquare(HEAVIER_TAIL * 3.0, ERRORS) * 3.0)
    normal = rng.standard_normal((ERRORS, size)) * scale[:, None]
    inverse = np.linalg.inv(given.root)
    theta = given.mean[which] + np.einsum("sji,sj->si", inverse[which], normal)
    away = np.einsum("cji,csj->csi", given.root, theta[None] - given.mean[:, None], optimize=True)
    freedom = HEAVIER_TAIL * 3.0
    log = -0.5 * (freedom + size) * np.log1p((away**2).sum(axis=2) / freedom)
    log += np.log(np.diagonal(given.root, axis1=1, axis2=2)).sum(axis=1)[:, None]
    return theta, logsumexp(log, axis=0) - math.log(count)


def weigh(searched: Searched, share: Sequence[Array], places: Sequence[Place], log_weights: Array) -> Followed:
    """Every course with every sample of the shared errors.

    share : of every vessel (S, G) probabilities of its nodes given each sample; log_weights : (S,) of the samples, were the
    vessels free of each other.
    """
    factors, abouts = [], []
    log_pairs = log_weights[:, None] + np.log(searched.picked) - searched.near
    for place, part, found in zip(places, share, searched.w, strict=True):
        abouts.append(About.of(found))
        factor = Cells.of(place.nodes, place.row, place.kept).factor(abouts[-1])
        log_pairs += np.log(part @ factor)
        factors.append(np.ascontiguousarray(factor.T))
    pairs = normalised(log_pairs)
    errors, courses, both = (float(1.0 / (part**2).sum()) for part in (pairs.sum(axis=1), pairs.sum(axis=0), pairs))
    effective = min(errors, both) if courses > LEAST_COURSES else 0.0
    return Followed(factors, abouts, pairs, searched.hint, effective)


def _first_aim(course: Course, places: Sequence[Place], rng: np.random.Generator) -> Aim:
    """What came over according to each cut alone, and the last of it for what stayed behind; all else by the prior."""
    mass = np.append(course.mass, course.mass.sum() * math.exp(course.left))
    drawn = []
    for place in places:
        picked = pick_samples(place.weight, TYPICAL, rng)
        rng.shuffle(picked)
        drawn.append(place.nodes.w[place.row, place.kept[picked]])
    if not course.residue:
        drawn.append(drawn[-1])
    whole = np.einsum("v,vdn->dn", mass, np.stack(drawn))[:, course.order] / mass.sum()
    angles = course.angles(whole)
    centre, scale = np.zeros(course.size), np.eye(course.size)
    free = course.n - 1
    centre[:free] = angles.mean(axis=0)
    scale[:free, :free] = 2.0 * np.cov(angles.T).reshape(free, free) + OPEN**2 * np.eye(free)
    return Aim(centre, np.asarray(np.linalg.cholesky(scale)), HEAVIER_TAIL)
