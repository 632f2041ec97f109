"""What ties the vessels of a run: the order of distillation or its course, the balance of the charge, pot temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.blocks import Setting
from fractionkit.composition.evidence import Evidence
from fractionkit.courses.along import MOST_SLIPPED, Along, along
from fractionkit.courses.chain import LONGEST, Chained, Links, link
from fractionkit.courses.charge import Charge
from fractionkit.courses.course import Course
from fractionkit.inference.importance import LEAST_EFFECTIVE, SharedPosterior
from fractionkit.inference.joint import Block, Piece
from fractionkit.inference.scatter_nodes import drawn_points
from fractionkit.inference.summary import Marginals, coverage_interval, pick_samples
from fractionkit.mixture import Mixture

Array = NDArray[np.float64]

TRACE = 0.005  # mass fraction of which a course may be sure and no reading sees anything: its interval reaches the edge


@dataclass(frozen=True)
class Joint:
    """All vessels together: marginals (K, n), draws (D, K, n), shared errors and those of each draw (D, p).

    effective : least effective number of samples on the way. failed : whether something that ties the vessels was left out,
    because too few samples, or none, of what the readings allow come near it.
    """

    marginals: Marginals
    draws: Array
    shared: SharedPosterior
    theta: Array
    effective: float
    failed: bool = False


def may_tie(evidence: Evidence) -> bool:
    """Whether there is anything to tie."""
    return evidence.balance is not None and 1 < evidence.size <= LONGEST


def tied(
    setting: Setting, blocks: Sequence[Block], pieces: Sequence[Piece], weights: Sequence[Array], free: Joint
) -> Joint:
    """The vessels tied to each other.

    pieces : probabilities of all nodes given each sample of the shared errors; weights : (C, G) of every block, their average.
    free : the vessels one by one.
    """
    evidence = setting.evidence
    links = _links(setting, blocks, pieces, free.shared)
    course = _course(setting, links)
    if course is not None:
        vessels = slice(0, len(links.mass))
        found = along(
            blocks, weights, free.shared, course, links,
            lambda w: setting.block(vessels, drawn_points(w)), lambda theta: setting.pots(theta, ()),
        )  # fmt: skip
        if found.slipped <= MOST_SLIPPED and found.effective >= LEAST_EFFECTIVE:
            return _followed(found, free)
    left_out = course is not None
    if links.order is None and links.charge is None and links.pots is None:
        return replace(free, failed=left_out)
    chained = link(pieces, free.shared, links)
    if chained.effective < LEAST_EFFECTIVE:
        return replace(free, failed=True)
    return replace(_relinked(blocks, chained, free, evidence.size), failed=left_out)


def zeotropic_order(mixture: Mixture, pressure: float) -> tuple[int, ...] | None:
    """Components from light to heavy, None where any two of them form an azeotrope at ``pressure``."""
    for i in range(mixture.n):
        for j in range(i + 1, mixture.n):
            if mixture.azeotrope(i, j, pressure) is not None:
                return None
    boiling = mixture.bubble_point(np.eye(mixture.n), pressure)[0]
    return tuple(int(i) for i in np.argsort(boiling))


def _links(setting: Setting, blocks: Sequence[Block], pieces: Sequence[Piece], shared: SharedPosterior) -> Links:
    """What ties the vessels together; the charge, where there is one, is the last of the last block."""
    mixture, evidence = setting.mixture, setting.evidence
    balance = evidence.balance
    assert balance is not None
    order = zeotropic_order(mixture, evidence.pressure) if balance.ordered and mixture.n == 2 else None
    links = Links(order, balance.mass, pots=setting.pots(shared.theta, blocks))
    if not (evidence.charge and np.isfinite(balance.charge) and np.isfinite(balance.mass).all()):
        return links
    loss = max(balance.charge - float(balance.mass.sum()), 0.0)
    last = blocks[-1]
    charge = Charge(balance.charge, balance.charge_u, loss, last.nodes.w[-1])
    share = np.concatenate([part[-1] for block, _, part in pieces if block is last], axis=1).T
    return replace(links, charge=charge, contents=charge.given(share, shared.weights))


def _course(setting: Setting, links: Links) -> Course | None:
    """Courses of the distillation where the order of three or more components is evidence, else None."""
    mixture, evidence = setting.mixture, setting.evidence
    balance = evidence.balance
    if balance is None or mixture.n < 3 or not balance.ordered:
        return None
    if not (np.isfinite(links.mass).all() and (links.mass > 0.0).all()):
        return None
    order = zeotropic_order(mixture, evidence.pressure)
    if order is None:
        return None
    return Course.of(mixture, evidence.pressure, order, links.mass, residue=evidence.residue)


def _followed(found: Along, free: Joint) -> Joint:
    """Vessels that follow a course in place of those taken one by one (the charge keeps its own)."""
    vessels = found.draws.shape[1]
    rng = np.random.default_rng(20240705)
    picked = rng.permutation(pick_samples(found.weight, len(free.draws), rng))
    draws = free.draws.copy()
    draws[:, :vessels] = found.draws[picked]
    own = free.marginals
    rest = Marginals(own.mean[vessels:], own.low[vessels:], own.high[vessels:])
    marginals = Marginals.joined([_marginals(found), rest])
    least = min(free.effective, found.effective)
    return Joint(marginals, draws, found.shared, found.shared.theta[picked], least)


def _marginals(found: Along) -> Marginals:
    """Of all vessels, from runs with weights."""
    values = found.draws.reshape(len(found.draws), -1).T
    reach = np.stack([values.min(axis=1), values.max(axis=1)], axis=-1)
    mean = values @ found.weight
    low, high = coverage_interval(values, np.broadcast_to(found.weight, values.shape), reach)
    low, high = np.where(high < TRACE, 0.0, low), np.where(low > 1.0 - TRACE, 1.0, high)
    ends = (mean, np.minimum(low, mean), np.maximum(high, mean))
    return Marginals(*(end.reshape(found.draws.shape[1:]) for end in ends))


def _relinked(blocks: Sequence[Block], chained: Chained, free: Joint, size: int) -> Joint:
    """Linked vessels in place of those taken one by one (the charge keeps its own)."""
    rng = np.random.default_rng(20240313)
    count, kept = len(chained.weights), len(chained.samples)
    picked = np.resize(np.arange(kept), len(free.draws))
    parts, draws = [], free.draws.copy()
    for block in blocks:
        here = max(0, min(block.cuts.stop, count) - block.cuts.start)
        if here == 0:
            continue
        vessels = slice(block.cuts.start, block.cuts.start + here)
        nodes = block.nodes.first(here)
        parts.append(Marginals.of(nodes, np.stack(chained.weights[vessels])))
        draws[:, vessels] = nodes.inside(chained.nodes[picked, vessels].T, rng).transpose(1, 0, 2)
    own = free.marginals
    rest = Marginals(own.mean[count:size], own.low[count:size], own.high[count:size])
    often = np.bincount(chained.samples, minlength=len(free.shared.weights)) / kept
    return Joint(
        Marginals.joined([*parts, rest]),
        draws,
        replace(free.shared, weights=often),
        free.shared.theta[chained.samples[picked]],
        min(free.effective, chained.effective),
    )
