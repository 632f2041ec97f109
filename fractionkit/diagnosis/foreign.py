"""A component that is not in the sheet: what a little of it would do to every reading, for each of the catalogue.

Its content runs through the cuts as batch distillation carries a trace (Rayleigh, Phil. Mag. 4 (1902) 521): of what is
left in the pot the part (W_after/W_before)^K stays behind, K = (gamma p/P)^stages at the composition of the cut, or it is
the same in all cuts (wet receivers, an entrained wash). The size is its mass fraction in the cut that holds most.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.nodes import fractions_from_cells
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Hypothesis, Variant
from fractionkit.diagnosis.laplace import Change
from fractionkit.mixture import Mixture
from fractionkit.substances import catalogue
from fractionkit.substances.model import Substance

Array = NDArray[np.float64]

LEVELS = np.array([0.0, 0.005, 0.02, 0.07, 0.2, 0.5, 0.9])  # mass fractions at which boiling is solved
TABLE_POINTS = {2: 17, 3: 9}
SCALE = 0.05  # one standard deviation of the prior of the mass fraction in all cuts together
SCALES = (0.05, 0.5)  # and its limits in the cut that holds most
HELD_BACK = 0.1  # share of the charge left in the pot, where the sheet has no masses to say
PROFILES = ((1.0, 0.45), (3.0, 0.35), (0.0, 0.2))  # stages (0: the same in all cuts) and share of the prior
TOTAL_ODDS = 0.12
# Prior weight of a component by family and by name: water and stabilisers are met more often than others (common
# practice, no source).
FAMILY_WEIGHT = {"water": 3.0, "alcohol": 1.0, "ketone": 1.0, "inorganic": 0.3}
NAME_WEIGHT = {"ethanol": 2.0, "acetone": 2.0, "hexachloroethane": 0.5}


@dataclass(frozen=True)
class Foreign:
    """A component's effect on the readings of a run, tabulated.

    boiling : kind of reading -> (K or 1, G, L) K by which the boiling temperature moves at each of `LEVELS`.
    """

    substance: Substance
    mixture: Mixture
    base: Ground
    boiling: dict[str, Array]
    log_k: Array
    index: Array | None

    def at(self, content: Array) -> Change:
        """(K,) mass fractions -> change of every prediction (K, G)."""
        change = {kind: _interpolate(table, content) for kind, table in self.boiling.items()}
        for channel in self.base.block.channels:
            if channel.kind == "density":
                T = np.nan_to_num(self.base.evidence.density_temperature, nan=293.15)
                own = self.substance.density.at(T)[:, None]
                w = content[:, None]
                change["density"] = 1.0 / ((1.0 - w) / channel.prediction + w / own) - channel.prediction
            elif channel.kind == "refractive index" and self.index is not None:
                change["refractive index"] = self.index * content[:, None]
        return change


def _interpolate(table: Array, content: Array) -> Array:
    left = np.clip(np.searchsorted(LEVELS, content, side="right") - 1, 0, len(LEVELS) - 2)
    share = ((content - LEVELS[left]) / (LEVELS[left + 1] - LEVELS[left]))[:, None]
    rows = np.arange(len(content)) if len(table) > 1 else np.zeros(len(content), dtype=np.intp)
    return np.asarray((1.0 - share) * table[rows, :, left] + share * table[rows, :, left + 1])


def candidates(base: Ground) -> list[Hypothesis]:
    """One hypothesis for each substance of the catalogue that is not in the run."""
    others = [substance for substance in catalogue() if substance.name not in base.mixture.names]
    if base.has("refractive index"):
        others = [substance for substance in others if substance.refractive_index is not None]
    weights = np.array([NAME_WEIGHT.get(s.name, FAMILY_WEIGHT.get(s.family, 0.7)) for s in others])
    odds = TOTAL_ODDS * weights / weights.sum()
    return [_hypothesis(foreign(base, s), float(prior)) for s, prior in zip(others, odds, strict=True)]


def _hypothesis(effect: Foreign, prior: float) -> Hypothesis:
    variants = tuple(_variant(effect, stages, weight) for stages, weight in PROFILES)
    name = effect.substance.name
    return Hypothesis(f"third component: {name}", name, prior, variants, "mass fraction")


def _variant(effect: Foreign, stages: float, weight: float) -> Variant:
    base = effect.base
    shape = profile(base, effect.log_k, stages)

    def content(size: float) -> Array:
        return np.asarray(np.clip(size * shape, 0.0, LEVELS[-1]))

    mass = np.nan_to_num(base.mass[: base.evidence.cuts], nan=1.0)
    scale = float(np.clip(SCALE * mass.sum() / (mass * shape[: len(mass)]).sum(), *SCALES))
    return Variant(
        weight,
        lambda size: effect.at(content(size)),
        scale,
        one_sided=True,
        rows=shape > 0.05,
        label=base.evidence.names[int(np.argmax(shape))],
        content=content,
        mixture=effect.mixture,
        uniform=stages == 0.0,
    )


def foreign(base: Ground, substance: Substance) -> Foreign:
    """Solve boiling with the component at each of `LEVELS` on a coarse table of the run's own components."""
    mixture = Mixture([*base.mixture.names, substance.name])
    pressure = base.evidence.pressure
    axis = np.linspace(0.0, 1.0, TABLE_POINTS[base.mixture.n])
    coordinates = axis[:, None] if base.mixture.n == 2 else np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1)
    w = fractions_from_cells(coordinates)[..., None, :] * (1.0 - LEVELS[:, None])
    own = np.broadcast_to(LEVELS[:, None], (*w.shape[:-1], 1))
    x = mixture.mole_fractions(np.concatenate([w, own], axis=-1))
    boiling: dict[str, Array] = {}
    if base.has("head temperature") or base.has("dry point"):
        T, _ = mixture.dew_point(x, pressure)
        effect = _on_nodes(T - T[..., :1], base.block.nodes.coordinates)
        boiling |= {kind: effect for kind in ("head temperature", "dry point") if base.has(kind)}
    if base.has("first drop"):
        T, _ = mixture.bubble_point(x, pressure)
        boiling["first drop"] = _on_nodes(T - T[..., :1], base.block.nodes.coordinates)
    return Foreign(substance, mixture, base, boiling, _log_k(base, mixture), _index(base, mixture))


def _on_nodes(table: Array, coordinates: Array) -> Array:
    """(points, ..., L) -> (K, G, L) by linear interpolation."""
    position = coordinates * (table.shape[0] - 1)
    cell = np.clip(position.astype(np.intp), 0, table.shape[0] - 2)
    share = position - cell
    i, s = cell[..., 0], share[..., :1]
    if coordinates.shape[-1] == 1:
        return np.asarray((1.0 - s) * table[i] + s * table[i + 1])
    j, t = cell[..., 1], share[..., 1:]
    low = (1.0 - t) * table[i, j] + t * table[i, j + 1]
    high = (1.0 - t) * table[i + 1, j] + t * table[i + 1, j + 1]
    return np.asarray((1.0 - s) * low + s * high)


def _log_k(base: Ground, mixture: Mixture) -> Array:
    """(K,) ln of the component's vapour-liquid ratio at infinite dilution in each cut."""
    vapour = base.mixture.mole_fractions(base.w / base.w.sum(axis=-1, keepdims=True))
    T, liquid = base.mixture.dew_point(vapour, base.evidence.pressure)
    x = np.concatenate([liquid, np.zeros((len(liquid), 1))], axis=-1)
    found = mixture.ln_gamma(x, T)[..., -1] + mixture.ln_psat(T)[..., -1] - np.log(base.evidence.pressure)
    return np.asarray(found)


def _index(base: Ground, mixture: Mixture) -> Array | None:
    """(K or 1, G) change of the refractive index for one unit of mass fraction, None where none was read."""
    if not base.has("refractive index"):
        return None
    little = 0.05
    w = base.block.nodes.w
    T = np.nan_to_num(base.evidence.index_temperature, nan=293.15)[:, None]
    mixed = np.concatenate([w * (1.0 - little), np.full((*w.shape[:-1], 1), little)], axis=-1)
    change = mixture.refractive_index(mixed, T) - base.mixture.refractive_index(w, T)
    return np.asarray(change / little)


def profile(base: Ground, log_k: Array, stages: float) -> Array:
    """(K,) content of each vessel relative to the one that holds most; see the module's text."""
    if stages == 0.0:
        return np.ones(base.evidence.size)
    cuts = base.evidence.cuts
    mass = np.where(np.isfinite(base.mass), base.mass, np.nanmean(base.mass) if np.isfinite(base.mass).any() else 1.0)
    taken = np.diff(base.chosen[:cuts], append=base.chosen[cuts - 1] + 1) * mass[:cuts]
    held = float(mass[cuts]) if base.evidence.residue and np.isfinite(base.mass[cuts]) else 0.0
    held = held or HELD_BACK / (1.0 - HELD_BACK) * float(taken.sum())
    after = held + taken.sum() - np.cumsum(taken)
    before = after + taken
    k = np.exp(np.clip(stages * log_k[:cuts], -8.0, 8.0))
    left = np.cumsum(k * np.log(after / before))
    stays = np.exp(left)
    gone = np.diff(-stays, prepend=-1.0)
    content = np.empty(base.evidence.size)
    content[:cuts] = gone / taken
    whole = 1.0 / float(before[0])
    if base.evidence.residue:
        content[cuts] = stays[-1] / held
    if base.evidence.charge:
        content[-1] = whole
    return np.asarray(content / content.max())
