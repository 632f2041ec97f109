"""Whole runs drawn along courses of the distillation, where the order of three components is evidence.

An order alone says too much there: along the ridge that density and temperature leave open, flat priors conditioned on it
crowd the first and the last cut to its ends. The course says how far the cuts step, given what they weigh: each strays a
little about it, and given a course and the shared errors they are free of each other (`follow`). What is known of the
charge weighs the runs drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.chain import Links
from fractionkit.courses.charge import Contents
from fractionkit.courses.course import Course
from fractionkit.courses.follow import Followed, Place, search, weigh
from fractionkit.courses.stray import inside
from fractionkit.inference.importance import SharedPosterior, normalised
from fractionkit.inference.joint import CHUNK, Block, logsumexp
from fractionkit.inference.summary import pick_samples

Array = NDArray[np.float64]

RUNS = 1024
NEGLIGIBLE = 1e-7  # of a vessel's likeliest node: lesser ones are not looked at
MOST_SLIPPED = 0.25  # of the vessels: where more of them do not follow any course, none is to be believed


@dataclass(frozen=True)
class Along:
    """Runs along courses: compositions (D, V, n), equally likely; which sample (D,) of the shared errors each has.

    effective : least effective number of samples on the way. slipped : share of the vessels that follow no course.
    """

    draws: Array
    samples: NDArray[np.intp]
    shared: SharedPosterior
    effective: float
    slipped: float


def along(
    blocks: Sequence[Block], weights: Sequence[Array], shared: SharedPosterior, course: Course, links: Links
) -> Along:
    """Runs along the courses that the readings allow.

    weights : (C, G) of every block, what its nodes weigh on the average were the vessels free of each other, to find where
    they lie. links : masses of the V vessels and what is known of the charge.
    """
    rng = np.random.default_rng(20240703)
    places = _places(blocks, weights, len(links.mass))
    roughly = None if links.contents is None else links.contents.overall(shared.weights)
    searched = search(places, course, shared.theta.shape[1], lambda w: 0.25 * _balance(w, links.mass, roughly, 0))
    share, log_free, last = _shares(blocks, places, searched.theta)
    followed = weigh(searched, share, places, log_free - searched.log_proposal)
    pairs = pick_samples(followed.weight.ravel(), RUNS, rng)
    rng.shuffle(pairs)
    samples, courses = np.divmod(pairs, followed.weight.shape[1])
    w = np.empty((len(places), RUNS, course.n))
    slipped = np.empty((len(places), RUNS), dtype=bool)
    for v, place in enumerate(places):
        node = place.kept[_drawn(share[v], followed, v, samples, courses, rng)]
        w[v], slipped[v] = inside(place.nodes, place.row, node, followed.about[v], courses, rng)
    contents = None if links.charge is None else links.charge.given(last, followed.weight.sum(axis=1))
    log_weight = _balance(w, links.mass, contents, samples) - followed.hint[courses]
    weight = normalised(log_weight)
    balanced = float(1.0 / (weight**2).sum())
    if links.charge is not None:
        picked = pick_samples(weight, RUNS, rng)
        rng.shuffle(picked)
        w, slipped, samples = w[:, picked], slipped[:, picked], samples[picked]
    counted = np.bincount(samples, minlength=len(searched.theta)) / RUNS
    return Along(
        w.transpose(1, 0, 2),
        samples,
        replace(shared, theta=searched.theta, weights=counted),
        min(followed.effective, balanced),
        float(slipped.mean()),
    )


def _places(blocks: Sequence[Block], weights: Sequence[Array], count: int) -> list[Place]:
    """Of the first ``count`` vessels."""
    found = []
    for block, weight in zip(blocks, weights, strict=True):
        for row in range(min(block.cuts.stop, count) - block.cuts.start):
            kept = np.flatnonzero(weight[row] > NEGLIGIBLE * weight[row].max())
            found.append(Place(block, row, kept, weight[row, kept]))
    return found


def _shares(blocks: Sequence[Block], places: Sequence[Place], theta: Array) -> tuple[list[Array], Array, Array]:
    """Probabilities (S, G) of every vessel's nodes given the shared errors theta (S, p), log of prior times likelihood (S,), and
    the probabilities of all nodes of the last vessel, the charge where there is one.

    The vessels free of each other; the readings of all vessels count, those of the charge too.
    """
    total: Array = -0.5 * (theta**2).sum(axis=1)
    found = [np.empty((len(theta), len(place.kept))) for place in places]
    last = np.empty((len(theta), blocks[-1].nodes.w.shape[1]))
    for block in blocks:
        step = max(1, CHUNK // block.nodes.log_volume.size)
        for first in range(0, len(theta), step):
            part = slice(first, first + step)
            log_density = block.log_density(theta[part])
            log_z = logsumexp(log_density, axis=1)
            total[part] += log_z.sum(axis=0)
            for v, place in enumerate(places):
                if place.block is block:
                    found[v][part] = np.exp(log_density[place.row, place.kept] - log_z[place.row]).T
            if block is blocks[-1]:
                last[part] = np.exp(log_density[-1] - log_z[-1]).T
    return found, total, last


def _drawn(
    share: Array,
    followed: Followed,
    v: int,
    samples: NDArray[np.intp],
    courses: NDArray[np.intp],
    rng: np.random.Generator,
) -> NDArray[np.intp]:
    """Which of the nodes looked at (D,) vessel ``v`` lies on, given samples of the errors and courses (D,)."""
    density = share[samples]
    density *= followed.factors[v][courses]
    cumulative = np.cumsum(density, axis=1)
    at = rng.random(len(density))[:, None] * cumulative[:, -1:]
    return np.asarray(np.minimum((cumulative < at).sum(axis=1), density.shape[1] - 1), dtype=np.intp)


def _balance(w: Array, mass: Array, contents: Contents | None, samples: NDArray[np.intp] | int) -> Array:
    """Log likelihood (D,) of what is known of the charge, for vessels that hold w (V, D, n); 0 where nothing is."""
    if contents is None:
        return np.zeros(w.shape[1])
    return contents.log_likelihood(np.einsum("v,vdn->dn", mass, w)[:, :-1], samples)
