"""Which courses of the distillation the readings of a run allow: samples of them, aimed at what is near normal (`near`).

From several starts Gauss and Newton's method climbs to modes: what was charged by each cut's readings alone, and stills of
every sharpness. Samples are drawn about the modes, and in further rounds where all so far say, as the shared errors are in
`importance`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.course import Course
from fractionkit.courses.near import Lay, Near, Read, Told, solved
from fractionkit.inference.importance import Aim, next_aim, normalised
from fractionkit.inference.joint import logsumexp

Array = NDArray[np.float64]

STARTS, CLIMBED, CLIMB, LATER = 64, 6, 5, 10  # courses tried, climbed from, steps of all and of the best
BEST = 2  # modes that samples are drawn about
DIFFERENCE, LONGEST_STEP, LEAST_CURVATURE, GAIN = 0.01, 1.5, 0.5, 0.02
DAMPED = 0.1  # at first, of every curvature
FAR_BELOW = 8.0  # logarithm by which a mode is lower than the best and not looked at
DRAWN, ROUNDS, ENOUGH, TEMPERED = 1024, 12, 0.3, 0.15
FREEDOM = 12.0  # degrees of freedom of the t distributions: in ten numbers heavier tails than these starve the middle
OPEN = 0.1  # standard deviation of the charge's angles beyond what the cuts alone say
OUTSIDE = -1e9


@dataclass(frozen=True)
class Target:
    """What courses are to meet: the readings of all vessels and what else is known.

    mode : (p,) of the shared errors, about which they are taken linear; free : (V,) see `Near.of`. rest : compositions
    (V, M, n) -> (M, E) of what is known besides (the charge), in standard deviations; hint : -> (M,) log likelihood of what
    is weighed afterwards and only to be aimed by.
    """

    course: Course
    lay: Lay
    mode: Array
    free: Array
    rest: Callable[[Array], Array]
    hint: Callable[[Array], Array]

    def at(self, v: Array) -> tuple[Array, Told, Near]:
        """Log of prior times likelihood (M,) of courses v (M, size), and how it comes about."""
        told = Told.of(self.course.vessels(v), self.lay, self.mode)
        near = Near.of(told, self.mode, self.free)
        total = self.course.log_prior(v) + near.log_evidence + self.besides(told.w)
        return np.where(self.course.within(v), total, OUTSIDE), told, near

    def besides(self, w: Array) -> Array:
        """Log likelihood (M,) of all but the readings, at compositions (V, M, n)."""
        return np.asarray(-0.5 * (self.rest(w) ** 2).sum(axis=1) + self.hint(w))


@dataclass(frozen=True)
class Searched:
    """Courses v (M, size) with their weights (M,), summing to one; what is told at them, and ``log_near`` (M,): the log
    likelihood by which they are weighed.
    """

    v: Array
    weight: Array
    told: Told
    log_near: Array


def search(target: Target, alone: Array, rng: np.random.Generator) -> Searched:
    """Courses that the readings allow.

    alone : (V, D, n) compositions of every vessel according to its own readings.
    """
    course = target.course
    aims = _modes(target, _starts(course, alone, rng))
    counts = [DRAWN // len(aims)] * len(aims)
    v, total = np.zeros((0, course.size)), np.zeros(0)
    tolds: list[Told] = []
    fresh = np.concatenate([aim.draw(count, rng) for aim, count in zip(aims, counts, strict=True)])
    for round_ in range(ROUNDS):
        value, told, _ = target.at(fresh)
        v, total = np.concatenate([v, fresh]), np.concatenate([total, value])
        tolds.append(told)
        shares = np.log(np.array(counts) / sum(counts))
        proposal = logsumexp(np.stack([aim.log_density(v) for aim in aims]) + shares[:, None], axis=0)
        log_weight = np.where(total > 0.5 * OUTSIDE, total - proposal, OUTSIDE)
        weight = normalised(log_weight)
        if float(1.0 / (weight**2).sum()) > ENOUGH * DRAWN or round_ == ROUNDS - 1:
            break
        aims.append(replace(next_aim(v, log_weight, TEMPERED * DRAWN), freedom=FREEDOM))
        counts.append(DRAWN)
        fresh = aims[-1].draw(DRAWN, rng)
    return Searched(v, weight, Told.joined(tolds), total - course.log_prior(v))


def _starts(course: Course, alone: Array, rng: np.random.Generator) -> Array:
    """What came over according to each cut alone, and the last of it for what stayed behind; all else by the prior."""
    mass = np.append(course.mass, course.mass.sum() * math.exp(course.left))
    if not course.residue:
        alone = np.concatenate([alone, alone[-1:]])
    whole = np.einsum("v,vdn->dn", mass, alone)[:, course.order] / mass.sum()
    angles = course.angles(whole)
    v = rng.standard_normal((STARTS, course.size))
    free = course.n - 1
    v[:, :free] = angles[rng.integers(0, len(angles), STARTS)] + OPEN * v[:, :free]
    v[:, :free] = np.clip(v[:, :free], 0.05, 0.5 * np.pi - 0.05)
    v[0, free:] = 0.0
    return v


def _modes(target: Target, v: Array) -> list[Aim]:
    """Student distributions about the best modes climbed to from v (S, size)."""
    value, told, near = target.at(v)
    best = np.argsort(-value)[:CLIMBED]
    v, value, told, near = v[best], value[best], told.take(best), Near.of(told.take(best), target.mode, target.free)
    damping = np.full(len(v), DAMPED)
    for step in range(CLIMB + LATER):
        if step == CLIMB:
            kept = np.argsort(-value)[:BEST]
            v, value, told, damping = v[kept], value[kept], told.take(kept), damping[kept]
            near = Near.of(told, target.mode, target.free)
        uphill, curvature = _expanded(target, v, told, near)
        tried = v + _strides(uphill, curvature, damping)
        found, told_tried, _ = target.at(tried)
        better = found > value
        gained = np.where(better, found - value, 0.0)
        damping = np.where(better, 0.3 * damping, 5.0 * damping + 0.05)
        where = np.where(better, len(v) + np.arange(len(v)), np.arange(len(v)))
        v, value = np.where(better[:, None], tried, v), np.maximum(found, value)
        told = Told.joined([told, told_tried]).take(where)
        near = Near.of(told, target.mode, target.free)
        if step > CLIMB and gained.max() < GAIN and (better | (damping > 10.0)).all():
            break
    _, curvature = _expanded(target, v, told, near)
    aims: list[Aim] = []
    for k in np.flatnonzero(value > value.max() - FAR_BELOW):
        if any(_alike(v[k], aim) for aim in aims):
            continue
        values, vectors = np.linalg.eigh(curvature[k])
        covariance = (vectors / np.maximum(values, LEAST_CURVATURE)) @ vectors.T
        aims.append(Aim(v[k], np.asarray(np.linalg.cholesky(covariance), dtype=np.float64), FREEDOM))
    return aims


def _alike(v: Array, aim: Aim) -> bool:
    """Whether a mode lies within another one's reach."""
    away = np.linalg.solve(aim.root, v - aim.centre)
    return float(away @ away) < len(v)


def _strides(uphill: Array, curvature: Array, damping: Array) -> Array:
    """Damped steps (S, size), none longer than `LONGEST_STEP` in any number."""
    size = uphill.shape[1]
    diagonal = np.diagonal(curvature, axis1=1, axis2=2) * damping[:, None] + 1e-6
    step = np.linalg.solve(curvature + diagonal[:, :, None] * np.eye(size), uphill[..., None])[..., 0]
    return np.asarray(step * np.minimum(1.0, LONGEST_STEP / np.abs(step).max(axis=1, keepdims=True)))


def _expanded(target: Target, v: Array, told: Told, near: Near) -> tuple[Array, Array]:
    """Gradient (S, size) and curvature (S, size, size) of the target at v (S, size): squares of first differences."""
    count, size = v.shape
    steps = DIFFERENCE * np.eye(size)
    moved = (v[:, None] + steps).reshape(-1, size)
    w = target.course.vessels(moved)
    vessels = len(w)
    read = Read.of(target.lay(w), target.mode)

    def at_mean(read: Read, mean: Array) -> Array:
        return np.asarray(read.off + (read.slope @ mean[:, :, None])[..., 0])

    change = at_mean(read, np.repeat(near.mean, size, axis=0)).reshape(vessels, count, size, -1)
    change = (change - at_mean(told.read, near.mean)[:, :, None]).swapaxes(2, 3) / DIFFERENCE  # (V, S, R, size)
    change = solved(told.root, change) * np.sqrt(near.follows)[..., None, None]
    rows = change.transpose(1, 0, 2, 3).reshape(count, -1, size)
    seen = np.linalg.solve(near.root, near.rows.swapaxes(1, 2) @ rows)  # what a change of the errors takes up
    curvature = rows.swapaxes(1, 2) @ rows - seen.swapaxes(1, 2) @ seen
    uphill = -(rows.swapaxes(1, 2) @ near.gap[..., None])[..., 0]
    here = target.rest(told.w)
    slope = (target.rest(w).reshape(count, size, -1) - here[:, None]) / DIFFERENCE
    uphill -= (slope @ here[..., None])[..., 0]
    curvature += slope @ slope.swapaxes(1, 2)
    prior = target.course.log_prior(np.concatenate([moved, (v[:, None] - steps).reshape(-1, size)]))
    uphill += (prior[: count * size] - prior[count * size :]).reshape(count, size) / (2.0 * DIFFERENCE)
    return uphill, curvature + np.eye(size)
