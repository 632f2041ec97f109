"""The run without any fault: its readings laid on nodes that every explanation shares, and its own fit."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.blocks import Setting
from fractionkit.composition.evidence import Evidence
from fractionkit.composition.posterior import lay
from fractionkit.diagnosis.laplace import Fit, fit
from fractionkit.inference.joint import Block
from fractionkit.inference.nodes import Nodes, coarse, fractions_from_cells
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]

MOST_CUTS = 24  # of a longer run so many, evenly spaced, speak for all: a fault shared by all shows in them
CELLS = 768  # of two components
MOST_POINTS = 1024  # a cut, of four and more
# How far a fault may carry a reading, standard deviations put on density and temperature when nodes are laid.
REACH_DENSITY, REACH_TEMPERATURE = 4.0, 1.5


@dataclass(frozen=True)
class Ground:
    """Readings of K vessels on their nodes, and what they say if nothing is wrong.

    chosen : (K,) numbers of the vessels in the run. mass : (K,) kg, NaN where unknown. w : (K, n) posterior mean mass
    fractions at the mode. size : number of shared errors.
    """

    mixture: Mixture
    evidence: Evidence
    chosen: NDArray[np.intp]
    mass: Array
    setting: Setting
    block: Block
    fit: Fit
    w: Array

    @property
    def size(self) -> int:
        """Number of shared errors."""
        return len(self.setting.errors)

    def has(self, kind: str) -> bool:
        """Whether readings of this kind were taken."""
        return any(channel.kind == kind for channel in self.block.channels)


def ground(mixture: Mixture, evidence: Evidence, mass: Array | None = None) -> Ground:
    """Lay the readings of a run on nodes wide enough for every explanation."""
    plain = replace(evidence, balance=None)
    chosen = np.arange(plain.size)
    if plain.size > MOST_CUTS:
        chosen = np.unique(np.linspace(0, plain.size - 1, MOST_CUTS).round().astype(np.intp))
        plain = subset(plain, chosen)
    weight = np.full(evidence.size, np.nan)
    if mass is not None:
        weight[: len(mass)] = mass
    setting = Setting.of(mixture, plain)
    block = _block(setting)
    found = fit(block, len(setting.errors))
    return Ground(mixture, plain, chosen, weight[chosen], setting, block, found, mean_composition(block, found.theta))


def mean_composition(block: Block, theta: Array) -> Array:
    """(K, n) posterior mean mass fractions of the block's cuts with the shared errors at ``theta``."""
    share = node_shares(block, theta)
    return np.asarray(
        np.einsum("kg,kgn->kn", share, np.broadcast_to(block.nodes.w, (*share.shape, block.nodes.w.shape[-1])))
    )


def node_shares(block: Block, theta: Array, but: str | None = None) -> Array:
    """(K, G) posterior probability of each node; ``but`` one kind of reading."""
    kept = replace(block, channels=tuple(c for c in block.channels if c.kind != but))
    log_density = np.broadcast_to(kept.log_density(theta), (block.cuts.stop, block.nodes.w.shape[1]))
    share = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def _block(setting: Setting) -> Block:
    cuts = slice(0, setting.evidence.size)
    if setting.mixture.n == 2:
        return setting.block(cuts, _line())
    evidence = setting.evidence
    wide = replace(
        evidence,
        head_start=_widened(evidence.head_start, REACH_TEMPERATURE),
        head_end=_widened(evidence.head_end, REACH_TEMPERATURE),
        range_start=_widened(evidence.range_start, REACH_TEMPERATURE),
        range_end=_widened(evidence.range_end, REACH_TEMPERATURE),
        density=_widened(evidence.density, REACH_DENSITY),
    )
    size = len(setting.errors)
    nodes = lay(Setting.of(setting.mixture, wide), np.zeros(size), np.eye(size))[0].nodes
    if nodes.scattered:
        nodes = thinned(nodes, nodes.w.shape[1] // MOST_POINTS)
    return setting.block(cuts, nodes)


def thinned(nodes: Nodes, step: int) -> Nodes:
    """Every ``step``-th node, each standing for as many more."""
    if step < 2:
        return nodes
    arrays = {name: getattr(nodes, name)[:, step // 2 :: step] for name in ("w", "coordinates", "half", "shear")}
    kept = arrays["w"].shape[1]
    volume = nodes.log_volume[:, step // 2 :: step] + np.log(nodes.w.shape[1] / kept)
    return replace(nodes, **arrays, log_volume=volume, cells=(kept,))


def _line() -> Nodes:
    """Equal cells over the whole range of two components, the same for every cut.

    Narrow ones: where two readings of a cut are far apart, cells as wide as the scatter make the evidence ripple.
    """
    rough = coarse(2)
    centre = ((np.arange(CELLS) + 0.5) / CELLS)[None, :, None]
    return replace(
        rough,
        w=fractions_from_cells(centre),
        log_volume=np.full((1, CELLS), -np.log(CELLS)),
        coordinates=centre,
        half=np.full_like(centre, 0.5 / CELLS),
        shear=np.zeros((1, CELLS)),
        cells=(CELLS,),
    )


def _widened(kind: Measured, by: float) -> Measured:
    return replace(kind, repeat=np.hypot(kind.repeat, by))


def subset(evidence: Evidence, chosen: NDArray[np.intp]) -> Evidence:
    """Evidence of some vessels; tests of the others fall away."""
    place = {int(k): i for i, k in enumerate(chosen)}
    kept: dict[str, Any] = {}
    for entry in fields(evidence):
        value = getattr(evidence, entry.name)
        if isinstance(value, Measured):
            shared = {name: sensitivity[chosen] for name, sensitivity in value.shared.items()}
            kept[entry.name] = replace(value, value=value.value[chosen], repeat=value.repeat[chosen], shared=shared)
        elif isinstance(value, np.ndarray):
            kept[entry.name] = value[chosen]
    return replace(
        evidence,
        names=tuple(evidence.names[k] for k in chosen),
        detections=tuple(replace(d, cut=place[d.cut]) for d in evidence.detections if d.cut in place),
        **kept,
    )
