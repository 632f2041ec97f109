"""Whole runs drawn along courses of the distillation, where the order of three and more components is evidence.

An order alone says too much there: along the ridge that density and temperature leave open, flat priors conditioned on it
crowd the first and the last cut to its ends. The course says how far the cuts step, given what they weigh: each strays a
little about it, and given a course and the shared errors they are free of each other.

Pairs of a course and the shared errors are drawn from what is near normal (`follow`). With each pair a few compositions of
every cut are drawn where the readings and what strays have them, and looked at exactly: their average weight is an unbiased
estimate of how likely the pair makes the cut's readings, and weights that are unbiased weigh pairs as right as exact ones
(Fearnhead, Papaspiliopoulos, Roberts and Stuart, J. R. Stat. Soc. B 72 (2010) 497). A cut that follows no course is found
where its own readings alone have it. What is known of the charge and the pot temperatures weigh the run drawn.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.chain import Links
from fractionkit.courses.charge import Contents
from fractionkit.courses.course import Course
from fractionkit.courses.follow import Searched, Target, search
from fractionkit.courses.near import Lay, Near, rooted, solved
from fractionkit.courses.pots import Pots
from fractionkit.courses.stray import DEVIATION, EDGE, SLIP, STRAY, About, log_density
from fractionkit.inference.importance import HEAVIEST, SharedPosterior, normalised
from fractionkit.inference.joint import Block, logsumexp
from fractionkit.inference.many import Many
from fractionkit.inference.nodes import HUG, Nodes, beta_share
from fractionkit.inference.pareto import tail_shape
from fractionkit.inference.summary import pick_samples

Array = NDArray[np.float64]

PAIRS, POINTS = 2048, 4  # pairs; compositions of a cut with each of them
FEWER_POINTS = 2  # beyond three components, whose boiling points are not tabulated
FREE = 64  # compositions of a cut without any course
FREEDOM, ERRORS_FREEDOM = 8.0, 20.0  # degrees of freedom of the t distributions of compositions and shared errors
WIDER = 1.1  # proposals of compositions than what is near normal
LEAST_COURSES = 12.0  # effective ones: each leaves the cuts free within what strays
MOST_SLIPPED = 0.25  # of the vessels: where more of them do not follow any course, none is to be believed


@dataclass(frozen=True)
class Along:
    """Runs along courses: compositions (D, V, n) with their weights (D,), and the shared errors of each as ``shared.theta``.

    effective : effective number of runs, 0 where too few courses or too heavy a tail of the weights carry them.
    slipped : share of the vessels that follow no course.
    """

    draws: Array
    weight: Array
    shared: SharedPosterior
    effective: float
    slipped: float


@dataclass(frozen=True)
class Drawn:
    """Compositions (V, D, n) of D runs, log likelihood (D,) of the readings of all vessels, and whether each slipped (V, D)."""

    w: Array
    log_likelihood: Array
    slipped: NDArray[np.bool_]


def along(
    blocks: Sequence[Block],
    weights: Sequence[Array],
    shared: SharedPosterior,
    course: Course,
    links: Links,
    lay: Lay,
    pots: Callable[[Array], Pots | None],
) -> Along:
    """Runs along the courses that the readings allow.

    weights : (C, G) of every block, what its nodes weigh on the average were the vessels free of each other, to find where
    they lie. links : masses of the V vessels and what is known of the charge. lay : readings of the V vessels on any
    compositions. pots : pot temperatures with samples of the shared errors.
    """
    rng = np.random.default_rng(20240703)
    mode = shared.mean()
    free = _free(blocks, weights, len(links.mass), lay, rng)
    charge = None if links.contents is None else links.contents.overall(shared.weights)
    target = Target(
        course,
        lay,
        mode,
        logsumexp(free.log_density(mode), axis=1),
        lambda w: _off_balance(w, links.mass, charge),
        _pots_hint(pots(mode[None])),
    )
    searched = search(target, free.nodes.w, rng)
    picked = pick_samples(searched.weight, PAIRS, rng)
    rng.shuffle(picked)
    theta, log_proposal = _errors(target, searched, picked, rng)
    drawn = _drawn(searched, picked, theta, free, lay, rng, POINTS if course.n == 3 else FEWER_POINTS)
    log_weight = drawn.log_likelihood - 0.5 * (theta**2).sum(axis=1) - log_proposal - searched.log_near[picked]
    if links.charge is not None:
        log_share = _last(blocks[-1]).log_density(theta)[0].T.astype(np.float64)
        log_z = logsumexp(log_share, axis=1)
        log_weight += log_z
        contents = links.charge.given(np.exp(log_share - log_z[:, None]), normalised(log_weight))
        log_weight += contents.log_likelihood(_held(drawn.w, links.mass), np.arange(len(picked)))
    read = pots(theta)
    if read is not None:
        log_weight += read.log_likelihood(drawn.w.transpose(1, 0, 2), np.arange(len(picked)))
    weight = normalised(log_weight)
    courses = np.bincount(picked, weights=weight)
    enough = 1.0 / (courses**2).sum() > LEAST_COURSES and tail_shape(log_weight) < HEAVIEST
    return Along(
        drawn.w.transpose(1, 0, 2),
        weight,
        replace(shared, theta=theta, weights=weight),
        float(1.0 / (weight**2).sum()) if enough else 0.0,
        float((drawn.slipped @ weight).mean()),
    )


def _free(blocks: Sequence[Block], weights: Sequence[Array], count: int, lay: Lay, rng: np.random.Generator) -> Block:
    """The first ``count`` vessels on a few points each, picked by what their nodes weigh, for the prior of no course."""
    w, volume = [], []
    for block, weight in zip(blocks, weights, strict=True):
        size = min(block.cuts.stop, count) - block.cuts.start
        if size <= 0:
            continue
        prior = _prior(block.nodes)
        node = np.stack([rng.permutation(pick_samples(row, FREE, rng)) for row in weight[:size]])
        w.append(block.nodes.first(size).inside(node, rng))
        ratio = np.take_along_axis(prior[:size], node, axis=1) / np.take_along_axis(weight[:size], node, axis=1)
        volume.append(np.log(ratio / FREE))
    laid = lay(np.concatenate(w))
    return replace(laid, nodes=replace(laid.nodes, log_volume=np.concatenate(volume)))


def _prior(nodes: Nodes) -> Array:
    """What the nodes (K, G) stand for before any reading had a say in it."""
    if nodes.scattered:
        return np.asarray(np.exp(nodes.log_volume))
    return prior_share(nodes.coordinates - nodes.half, nodes.coordinates + nodes.half)


def prior_share(low: Array, high: Array) -> Array:
    """Share (...) of the nodes' Dirichlet distribution in cells with edges (..., d): each fraction is a beta part of the rest."""
    count = low.shape[-1]
    parts = [beta_share(low[..., i], high[..., i], HUG, HUG * (count - i)) for i in range(count)]
    return np.asarray(np.prod(parts, axis=0))


def _off_balance(w: Array, mass: Array, charge: Contents | None) -> Array:
    """How far vessels at w (V, M, n) are off what is known of the charge, in standard deviations, with what may stray."""
    if charge is None:
        return np.zeros((w.shape[1], 0))
    even = 1.0 / w.shape[2]
    strays = STRAY**2 * (even * (1.0 - even) + EDGE) * float((mass**2).sum())
    wide = replace(charge, covariance=charge.covariance + strays * np.eye(w.shape[2] - 1))
    return wide.whitened(_held(w, mass) - charge.mean[0])


def _held(w: Array, mass: Array) -> Array:
    """Kilograms (M, n - 1) of all components but the last in the vessels, at w (V, M, n)."""
    return np.asarray(np.einsum("v,vmn->mn", mass, w)[:, :-1])


def _pots_hint(pots: Pots | None) -> Callable[[Array], Array]:
    """Log likelihood (M,) of the pot temperatures at compositions (V, M, n), the shared errors at their mean."""
    if pots is None:
        return lambda w: np.zeros(w.shape[1])
    read = pots
    return lambda w: read.log_likelihood(w.transpose(1, 0, 2), np.zeros(w.shape[1], dtype=np.intp))


def _errors(
    target: Target, searched: Searched, picked: NDArray[np.intp], rng: np.random.Generator
) -> tuple[Array, Array]:
    """Shared errors (D, p) drawn for the courses ``picked``, and the log density of each, up to a constant."""
    used, place = np.unique(picked, return_inverse=True)
    near = Near.of(searched.told.take(used), target.mode, target.free)
    root = near.root
    size = root.shape[1]
    scale = np.sqrt(ERRORS_FREEDOM / rng.chisquare(ERRORS_FREEDOM, len(picked)))
    normal = rng.standard_normal((len(picked), size)) * scale[:, None]
    theta = near.mean[place] + np.einsum("dji,dj->di", np.linalg.inv(root)[place], normal)
    log = -0.5 * (ERRORS_FREEDOM + size) * np.log1p((normal**2).sum(axis=1) / ERRORS_FREEDOM)
    return theta, log + np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)[place]


def _drawn(
    searched: Searched,
    picked: NDArray[np.intp],
    theta: Array,
    free: Block,
    lay: Lay,
    rng: np.random.Generator,
    points: int,
) -> Drawn:
    """One composition of every vessel with each pair of a course and shared errors (D,), of ``points`` that are looked at."""
    told = searched.told.take(picked)
    off, log_proposal = _proposed(told.read.off, told.read.slope, told.read.variance, told.stray, theta, points, rng)
    about = About.of(told.w)
    about = About(about.centre[:, :, None], about.scale[:, :, None])
    w = about.fractions(off)
    vessels, count, _, n = w.shape
    block = lay(w.reshape(vessels, -1, n))
    log = _log_likelihood(block, np.repeat(theta, points, axis=0)).reshape(vessels, count, points)
    log += log_density(off) - log_proposal
    log_stray = logsumexp(log, axis=2) - math.log(points) + math.log1p(-SLIP)
    log_free = free.log_density(theta)
    log_slip = logsumexp(log_free, axis=1) + math.log(SLIP)
    log_z = np.logaddexp(log_stray, log_slip)
    slipped = rng.random(log_z.shape) < np.exp(log_slip - log_z)
    near = _one_of(log, rng)
    far = _one_of(log_free.swapaxes(1, 2), rng)
    rows = np.arange(vessels)[:, None]
    found = np.where(slipped[..., None], free.nodes.w[rows, far], w[rows, np.arange(count), near])
    return Drawn(found, log_z.sum(axis=0), slipped)


def _proposed(
    off: Array, slope: Array, variance: Array, stray: Array, theta: Array, points: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Where cuts may lie, (V, D, J, d) scales off their courses, in pairs that mirror each other, and log densities (V, D, J).

    Readings linear in what strays: see `Told` for what is given.
    """
    d = stray.shape[-1]
    weighed = stray / variance[..., None]
    precision = weighed.swapaxes(-1, -2) @ stray + np.eye(d) / DEVIATION**2
    root = rooted(precision)
    gap = off + (slope @ theta[:, :, None])[..., 0]
    pull = -(weighed.swapaxes(-1, -2) @ gap[..., None])
    inverse = solved(root, np.broadcast_to(np.eye(d), root.shape))
    centre = (inverse.swapaxes(-1, -2) @ (inverse @ pull))[..., 0]
    shape = (*centre.shape[:2], points // 2)
    scale = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, shape))
    normal = rng.standard_normal((*shape, d)) * scale[..., None]
    normal = np.concatenate([normal, -normal], axis=2)
    found = centre[:, :, None] + WIDER * normal @ inverse
    constant = math.lgamma(0.5 * (FREEDOM + d)) - math.lgamma(0.5 * FREEDOM)
    constant -= 0.5 * d * math.log(FREEDOM * math.pi) + d * math.log(WIDER)
    log = constant - 0.5 * (FREEDOM + d) * np.log1p((normal**2).sum(axis=-1) / FREEDOM)
    return found, log + np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)[..., None]


def _log_likelihood(block: Block, theta: Array) -> Array:
    """(V, G) of the readings at each of G points, with the shared errors (G, p) of each."""
    total = np.zeros(block.nodes.w.shape[:2])
    for channel in block.channels:
        eta = channel.prediction + np.einsum("vgq,gq->vg", channel.jacobian, theta[:, channel.errors])
        if len(channel.bending):
            eta += np.einsum("vgr,gr->vg", channel.bend, theta[:, channel.bending] ** 2)
        total += channel.scatter.log_likelihood(eta)
    return total


def _one_of(log: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    """Which of the last axis, (V, D), in proportion to exp(log) (V, D, J)."""
    share = np.exp(log - log.max(axis=2, keepdims=True))
    cumulative = np.cumsum(share, axis=2)
    at = rng.random(log.shape[:2])[..., None] * cumulative[..., -1:]
    return np.asarray(np.minimum((cumulative < at).sum(axis=2), log.shape[2] - 1), dtype=np.intp)


def _last(block: Block) -> Many:
    """The last vessel of a block alone."""
    whole = block.many
    rows = (replace(r, matrix=r.matrix[-1:], table=None if r.table is None else r.table[-1:]) for r in whole.rows)
    return Many(whole.base[-1:], tuple(rows), whole.power)
