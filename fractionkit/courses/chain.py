"""What ties the cuts of one run to each other: the order of distillation and the balance of the charge.

Order. In a zeotropic distillation the vapour taken holds ever less of the lighter of any two components against the
heavier: d ln(x_i/x_j) has one sign along a differential distillation (Rayleigh, Phil. Mag. 4 (1902) 521), and the ratio
of the means of two successive cuts lies between the ratios at their ends. So ln(w_i/w_j) falls from cut to cut, and
from the last cut to the residue. The constraint is soft: a step of `TOLERANCE` in the logarithm against the order is
as likely as not, and any order keeps the probability `SLIP` (a wet first cut, a bumped pot, reflux raised midway).

Balance. Charge = cuts + residue + hold-up and loss, component by component, where something is known of the charge.

Pot temperatures (`pots`). When a receiver is taken away the residue and all later cuts boil in the pot.

Method: given the shared errors each cut has its probabilities on its nodes. Whole runs are drawn by a particle filter
from the residue backwards (each cut from its own nodes, weighted by the order against the cut after it and by the pot that
held it), weighted by the balance, and then refreshed by a Gibbs sweep in which each cut is drawn from its exact
conditional given all others (pot temperatures taken linear about the run). The marginals are the averages of those
conditionals over the particles (Gelfand and Smith, J. Am. Stat. Assoc. 85 (1990) 398), so they stay smooth on the nodes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.charge import Charge, Contents
from fractionkit.courses.pots import Pots, Swept
from fractionkit.inference.importance import SharedPosterior
from fractionkit.inference.joint import Piece
from fractionkit.inference.summary import pick_samples

Array = NDArray[np.float64]

TOLERANCE, SLIP = 0.03, 0.002
PARTICLES = {2: 2048, 3: 512}
LONGEST = 48  # vessels; in a longer run the order says little of any one cut, and the filter would cost too much
BATCH = 1 << 21
NEGLIGIBLE = 1e-9  # probability of a node whatever the shared errors: lesser ones are not looked at


@dataclass(frozen=True)
class Links:
    """How the vessels of a run (cuts, then residue if any) hang together.

    order : components from light to heavy, or None where the order says nothing (an azeotrope, or switched off).
    mass : (V,) kg of each vessel. charge : what is known of it, and contents : that given each sample of the shared errors;
    None where nothing is. pots : None where the pot was not read, or only at the end.
    """

    order: tuple[int, ...] | None
    mass: Array
    charge: Charge | None = None
    contents: Contents | None = None
    pots: Pots | None = None


@dataclass(frozen=True)
class Chained:
    """Particles of the linked run: node numbers (D, V), sample of the shared errors (D,), marginal node weights."""

    nodes: NDArray[np.intp]
    samples: NDArray[np.intp]
    weights: tuple[Array, ...]  # one (G,) a vessel
    effective: float


class _Vessels:
    """Probabilities of every vessel's nodes given each sample of the shared errors, and what links read off a node.

    kept : numbers of the nodes looked at, of ``size`` nodes in all; everything else is of those.
    """

    def __init__(self, pieces: Iterable[Piece], links: Links) -> None:
        found: dict[int, list[Array]] = {}
        w: dict[int, Array] = {}
        for block, _, share in pieces:
            for row, vessel in enumerate(range(block.cuts.start, min(block.cuts.stop, len(links.mass)))):
                found.setdefault(vessel, []).append(share[row])
                w[vessel] = block.nodes.w[row]
        whole = [np.concatenate(found[v], axis=1) for v in range(len(found))]
        self.size = [len(part) for part in whole]
        self.kept = [np.flatnonzero(part.max(axis=1) > NEGLIGIBLE) for part in whole]
        self.share = [
            part[kept].T.copy() for part, kept in zip(whole, self.kept, strict=True)
        ]  # (S, G): rows to gather
        self.w = [w[v][kept] for v, kept in enumerate(self.kept)]
        self.steps = [None if links.order is None else _log_ratios(part, links.order) for part in self.w]

    def __len__(self) -> int:
        return len(self.share)

    def whole(self, weights: Sequence[Array]) -> tuple[Array, ...]:
        """Weights of the nodes looked at, on all nodes (G,) of every vessel."""
        found = tuple(np.zeros(size) for size in self.size)
        for full, kept, part in zip(found, self.kept, weights, strict=True):
            full[kept] = part
        return found


def _log_ratios(w: Array, order: tuple[int, ...]) -> Array:
    """ln(w_i/w_j) of neighbours in the order, light over heavy, in units of the tolerance, (G, n - 1).

    Kept within +-340 (mass ratios of 1 to 27,000) so that products of exponentials stay finite.
    """
    safe = np.log(np.maximum(w[:, order], 1e-9))
    return np.clip((safe[:, :-1] - safe[:, 1:]) / TOLERANCE, -340.0, 340.0)


def _keep_order(density: Array, own: Array, other: Array, *, other_later: bool) -> None:
    """Multiply density (D, G) by the factor that nodes ``own`` (G, n - 1) stand in order against ``other`` (D, n - 1).

    1/(1 + exp(-(a - b))) is written as 1/(1 + exp(-a) exp(b)): one exponential a node and one a particle, none a pair.
    """
    sign = -1.0 if other_later else 1.0
    node, particle = np.exp(sign * own), np.exp(-sign * other)
    for i in range(own.shape[1]):
        factor = particle[:, i, None] * node[None, :, i]
        factor += 1.0
        np.divide(1.0 - SLIP, factor, out=factor)
        factor += SLIP
        density *= factor


def log_chance_of_order(share: Sequence[Array], steps: Sequence[Array]) -> Array:
    """Logarithm of the chance (S,) that all vessels stand in order: summed out from the last vessel to the first.

    share : (S, G) probability of each vessel's nodes given each sample. steps : (G, n - 1) of each vessel, see `_log_ratios`.
    """
    ahead = share[-1]
    total = np.zeros(len(ahead))
    for v in range(len(share) - 2, -1, -1):
        density = np.ones((len(steps[v + 1]), len(steps[v])))
        _keep_order(density, steps[v], steps[v + 1], other_later=True)
        ahead = share[v] * (ahead @ density)
        size = np.maximum(ahead.sum(axis=1, keepdims=True), 1e-300)
        total += np.log(size[:, 0])
        ahead = ahead / size
    return total


def link(pieces: Iterable[Piece], shared: SharedPosterior, links: Links, seed: int = 20240311) -> Chained:
    """Draw whole runs that respect the links; see the module's text.

    pieces : node probabilities of the vessels, as `shares` gives them.

    Returns particles, equally likely, and the marginal weights of every vessel's nodes. ``effective`` is the least
    effective number of particles met on the way.
    """
    rng = np.random.default_rng(seed)
    vessels = _Vessels(pieces, links)
    if links.pots is not None and links.pots.alone is not None:  # laid on all nodes of the residue
        links = replace(links, pots=replace(links.pots, alone=links.pots.alone[:, vessels.kept[-1]]))
    count = PARTICLES.get(vessels.w[0].shape[1], 512)
    samples = pick_samples(_before_order(vessels, shared.weights, links), count, rng)
    rng.shuffle(samples)
    nodes = np.zeros((count, len(vessels)), dtype=np.intp)
    log_weight = np.zeros(count)
    trace = None if links.pots is None else links.pots.begin(count)
    least = float(count)
    for v in range(len(vessels) - 1, -1, -1):
        after = None if v == len(vessels) - 1 else nodes[:, v + 1]
        gained, nodes[:, v] = _draw(vessels, v, samples, None, after, None, links, rng)
        log_weight += np.log(gained)
        if links.pots is not None and trace is not None:
            fit, trace = links.pots.update(trace, v, vessels.w[v][nodes[:, v]], samples)
            log_weight += fit
        if v == 0 and links.contents is not None:
            log_weight += links.contents.log_likelihood(_contents(vessels, nodes, links), samples)
        weight = np.exp(log_weight - log_weight.max())
        effective = float(weight.sum() ** 2 / (weight**2).sum())
        least = min(least, effective)
        if effective < 0.5 * count or v == 0:
            picked = pick_samples(weight / weight.sum(), count, rng)
            samples, nodes, log_weight = samples[picked], nodes[picked], np.zeros(count)
            trace = None if trace is None else trace.take(picked)
    weights = vessels.whole(_sweep(vessels, nodes, samples, links, rng))
    nodes = np.stack([kept[nodes[:, v]] for v, kept in enumerate(vessels.kept)], axis=1)
    return Chained(nodes, samples, weights, least)


def _before_order(vessels: _Vessels, weights: Array, links: Links) -> Array:
    """Weights (S,) of the samples to start from, so that the order shapes compositions but does not weigh the samples.

    The order is the likelier the better the cuts are told apart, so that it would vote for errors that flatten the dew
    curve, though it holds whatever the errors are: what the filter will weigh by it is divided out beforehand.
    """
    if links.order is None:
        return weights
    steps = [step for step in vessels.steps if step is not None]
    chance = log_chance_of_order(vessels.share, steps)
    # a sample with a chance of e^-20 of the best one's would need more particles than there are
    freed = weights * np.exp(np.minimum(chance.max() - chance, 20.0))
    return np.asarray(freed / freed.sum())


def _sweep(
    vessels: _Vessels, nodes: NDArray[np.intp], samples: NDArray[np.intp], links: Links, rng: np.random.Generator
) -> list[Array]:
    """Gibbs sweep in place; the average conditional of each vessel."""
    size = len(vessels)
    total = _contents(vessels, nodes, links) if links.contents is not None else None
    swept = None
    if links.pots is not None:
        swept = links.pots.swept([vessels.w[v][nodes[:, v]] for v in range(size)], samples, rng)
    weights = []
    for v in range(size):
        before = None if v == 0 else nodes[:, v - 1]
        after = None if v == size - 1 else nodes[:, v + 1]
        rest = None if total is None else total - links.mass[v] * vessels.w[v][nodes[:, v], :-1]
        average = np.zeros(len(vessels.w[v]))
        _, nodes[:, v] = _draw(vessels, v, samples, before, after, rest, links, rng, average, swept)
        if swept is not None:
            swept.move(v, vessels.w[v][nodes[:, v]])
        if rest is not None:
            total = rest + links.mass[v] * vessels.w[v][nodes[:, v], :-1]
        weights.append(average / average.sum())
    return weights


def _draw(
    vessels: _Vessels,
    v: int,
    samples: NDArray[np.intp],
    before: NDArray[np.intp] | None,
    after: NDArray[np.intp] | None,
    rest: Array | None,
    links: Links,
    rng: np.random.Generator,
    average: Array | None = None,
    swept: Swept | None = None,
) -> tuple[Array, NDArray[np.intp]]:
    """One node of vessel ``v`` for every particle, from its conditional; the conditional's total weight beside it."""
    count, size = len(samples), len(vessels.w[v])
    gained, drawn = np.empty(count), np.empty(count, dtype=np.intp)
    own = vessels.steps[v]
    step = max(1, BATCH // size)
    for first in range(0, count, step):
        part = slice(first, first + step)
        density = vessels.share[v][samples[part]]
        if own is not None:
            if after is not None:
                later = vessels.steps[v + 1]
                assert later is not None
                _keep_order(density, own, later[after[part]], other_later=True)
            if before is not None:
                earlier = vessels.steps[v - 1]
                assert earlier is not None
                _keep_order(density, own, earlier[before[part]], other_later=False)
        if rest is not None and links.contents is not None:
            density *= links.contents.fit(rest[part], links.mass[v] * vessels.w[v][:, :-1], samples[part])
        if swept is not None:
            density *= swept.factor(v, vessels.w[v], part)
        cumulative = np.cumsum(density, axis=1)
        gained[part] = np.maximum(cumulative[:, -1], 1e-300)
        at = rng.random(len(density))[:, None] * cumulative[:, -1:]
        drawn[part] = np.minimum((cumulative < at).sum(axis=1), size - 1)
        if average is not None:
            average += (density / gained[part, None]).sum(axis=0)
    return gained, drawn


def _contents(vessels: _Vessels, nodes: NDArray[np.intp], links: Links) -> Array:
    """Mass of the first n - 1 components in all vessels, (D, n - 1)."""
    return np.asarray(sum(links.mass[v] * vessels.w[v][nodes[:, v], :-1] for v in range(len(vessels))))
