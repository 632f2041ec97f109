"""A component that is not in the sheet: what a little of it would do to every reading, for each of the catalogue.

Boiling points with it are solved on a coarse table of the run's own components, at several contents; its way through the
cuts is that of `trace`. The size is its mass fraction in the charge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import POT
from fractionkit.diagnosis.ground import Ground
from fractionkit.diagnosis.hypothesis import Carried, Hypothesis, Variant
from fractionkit.diagnosis.laplace import Change
from fractionkit.diagnosis.trace import Trace, traces
from fractionkit.inference.nodes import fractions_from_cells
from fractionkit.inference.predict import cells_from_fractions
from fractionkit.mixture import Mixture
from fractionkit.substances import catalogue
from fractionkit.substances.model import Substance

Array = NDArray[np.float64]

# Mass fractions at which boiling is solved; the first stands for none of it.
LEVELS = np.array([1e-5, 0.004, 0.015, 0.04, 0.08, 0.14, 0.22, 0.35, 0.6, 0.9])
TABLE_POINTS = {2: 17, 3: 9}
SCALE = 0.05  # one standard deviation of the prior of the mass fraction in the charge
# What dissolves little: more of it stands as a second layer, or leaves as gas (common practice, no source).
LITTLE = {"water": 0.005, "chlorine": 0.01}
STEP = 0.1  # relative step of the derivatives by content
# Stages and reflux ratio of the stills that a run may have come from, with their share of the prior; the rest is for a
# component that is the same in all cuts (wet receivers, an entrained wash). Common practice, no source.
STILLS = ((1, 0.0, 0.35), (2, 2.0, 0.2), (3, 3.0, 0.15), (5, 4.0, 0.1))
UNIFORM = 0.2
BOILING = ("vapour_pressure", "activity", "activity_asymmetry")  # kinds of error that move a boiling point
TOTAL_ODDS = 0.12
# Prior weight of a component by family and by name: water and stabilisers are met more often than others (common
# practice, no source).
FAMILY_WEIGHT = {"water": 3.0, "alcohol": 1.0, "ketone": 1.0, "inorganic": 0.3}
NAME_WEIGHT = {"ethanol": 2.0, "acetone": 2.0, "hexachloroethane": 0.5}


@dataclass(frozen=True)
class Foreign:
    """A component's effect on the readings of a run, tabulated.

    vapour : (points, ..., L, n + 1) mole fractions of which the dew points T (points, ..., L) were solved, with the
    liquids x. With four and more own components the points are the cuts' own compositions, (K, L).
    bubble : as T, of the liquids ``vapour``; None where no reading needs it. index : (K or 1, G) change of the refractive
    index for one unit of mass fraction.
    """

    substance: Substance
    mixture: Mixture
    base: Ground
    x: Array
    T: Array
    bubble: Array | None
    index: Array | None

    def at(self, content: Array) -> Change:
        """(K,) mass fractions -> change of every prediction (K, G)."""
        change: dict[str, Array] = {}
        for channel in self.base.block.channels:
            if channel.kind in ("head temperature", "dry point"):
                change[channel.kind] = self._tabulated(self.T - self.T[..., :1], content)
            elif channel.kind in ("first drop", POT) and self.bubble is not None:
                change[channel.kind] = self._tabulated(self.bubble - self.bubble[..., :1], content)
            elif channel.kind == "density":
                temperature = np.nan_to_num(self.base.evidence.density_temperature, nan=293.15)
                own = self.substance.density.at(temperature)[:, None]
                w = content[:, None]
                change["density"] = 1.0 / ((1.0 - w) / channel.prediction + w / own) - channel.prediction
            elif channel.kind == "refractive index" and self.index is not None:
                change["refractive index"] = self.index * content[:, None]
        return change

    def slope(self, content: Array) -> Change:
        """Derivative of `at` by each vessel's content, (K, G)."""
        step = np.maximum(STEP * content, 1e-4)
        low = np.maximum(content - step, 0.0)
        high = np.minimum(content + step, LEVELS[-1])
        first, last = self.at(low), self.at(high)
        return {kind: (last[kind] - first[kind]) / (high - low)[:, None] for kind in last}

    def errors(self, content: Array) -> Change:
        """Change of the predictions (K, G, q) for one standard uncertainty of each error that comes with the component."""
        boiling, other = self._fresh(BOILING), self._fresh(("density", "excess_volume"))
        found: dict[str, Array] = {}
        for channel in self.base.block.channels:
            columns = np.zeros((*channel.prediction.shape, len(boiling) + len(other)))
            if channel.kind in ("head temperature", "dry point", "first drop", POT):
                for q in range(len(boiling)):
                    columns[..., q] = self._tabulated(self._moved[..., q], content)
            elif channel.kind == "density":
                columns[..., len(boiling) :] = self._density_errors(content)[:, None, other]
            else:
                continue
            found[channel.kind] = columns
        return found

    def _fresh(self, kinds: tuple[str, ...]) -> list[int]:
        """Which of the mixture's errors of some kinds the component brings."""
        own = self.mixture.n - 1
        return [i for i, e in enumerate(self.mixture.model_errors) if own in e.components and e.kind in kinds]

    @cached_property
    def _moved(self) -> Array:
        """(points, ..., L, q) K for one standard uncertainty of each error that moves the boiling points."""
        moved = self.mixture.dew_point_errors(self.T, self.x)[..., self._fresh(BOILING)]
        return moved - moved[..., :1, :]

    def _density_errors(self, content: Array) -> Array:
        """(K, p) kg/m3, at the vessels' mean compositions: it hardly changes across the nodes."""
        own = self.base.w / self.base.w.sum(axis=-1, keepdims=True)
        mixed = np.concatenate([own * (1.0 - content[:, None]), content[:, None]], axis=-1)
        return self.mixture.density_errors(mixed, np.nan_to_num(self.base.evidence.density_temperature, nan=293.15))

    def _tabulated(self, table: Array, content: Array) -> Array:
        """Values (points, ..., L) at the vessels' contents, on their nodes (K, G)."""
        cell = np.clip(np.searchsorted(LEVELS, content, side="right") - 1, 0, len(LEVELS) - 2)
        start = np.where(cell == 0, 0.0, LEVELS[cell])
        share = np.clip((content - start) / (LEVELS[cell + 1] - start), 0.0, 1.0)
        between = (1.0 - share) * table[..., cell] + share * table[..., cell + 1]  # (points, ..., K)
        if self.mixture.n - 1 not in TABLE_POINTS:
            return np.diagonal(between)[:, None]
        return on_nodes(between, self.base.block.nodes.coordinates)

    def pot(self, stages: int, reflux: float) -> Array:
        """(C, L) content of the pot at which the distillate of each cut holds each of `LEVELS`."""
        own = self.base.w[: self.base.evidence.cuts]
        own = own / own.sum(axis=-1, keepdims=True)
        liquid = self.mixture.mass_fractions(self.x)
        if self.mixture.n - 1 not in TABLE_POINTS:
            ratio = liquid[: len(own), :, -1] / LEVELS
            return np.asarray(LEVELS * ratio**stages)
        distilled = np.concatenate(
            [own[:, None, :] * (1.0 - LEVELS[:, None]), np.broadcast_to(LEVELS[:, None], (len(own), len(LEVELS), 1))],
            axis=-1,
        )
        vapour = distilled
        for stage in range(stages):
            below = self._liquid(liquid, vapour)
            if stage == stages - 1:
                return np.asarray(below[..., -1])
            vapour = (reflux * below + distilled) / (reflux + 1.0)
        raise AssertionError("a still has at least one stage")

    def _liquid(self, liquid: Array, vapour: Array) -> Array:
        """Mass fractions (..., n + 1) of the liquid in equilibrium with ``vapour``, from the table."""
        from scipy.ndimage import map_coordinates

        content = np.clip(vapour[..., -1], 1e-12, None)
        q = cells_from_fractions(vapour[..., :-1] / vapour[..., :-1].sum(axis=-1, keepdims=True))
        level = np.interp(np.log(content), np.log(LEVELS), np.arange(len(LEVELS)))
        at = [q[..., i] * (liquid.shape[i] - 1) for i in range(q.shape[-1])] + [level]
        ratio = np.log(liquid[..., -1] / LEVELS)
        found = content * np.exp(map_coordinates(ratio, at, order=1, mode="nearest"))
        rest = [map_coordinates(liquid[..., i], at, order=1, mode="nearest") for i in range(liquid.shape[-1] - 1)]
        share = np.stack(rest, axis=-1)
        share *= ((1.0 - np.minimum(found, 0.999)) / share.sum(axis=-1))[..., None]
        return np.concatenate([share, found[..., None]], axis=-1)


def on_nodes(table: Array, coordinates: Array) -> Array:
    """(points, ..., K) -> (K, G): each vessel's own column by linear interpolation at its nodes."""
    rows = np.arange(table.shape[-1])[:, None]
    position = coordinates * (table.shape[0] - 1)
    cell = np.clip(position.astype(np.intp), 0, table.shape[0] - 2)
    share = position - cell
    i, s = cell[..., 0], share[..., 0]
    if coordinates.shape[-1] == 1:
        return np.asarray((1.0 - s) * table[i, rows] + s * table[i + 1, rows])
    j, t = cell[..., 1], share[..., 1]
    low = (1.0 - t) * table[i, j, rows] + t * table[i, j + 1, rows]
    high = (1.0 - t) * table[i + 1, j, rows] + t * table[i + 1, j + 1, rows]
    return np.asarray((1.0 - s) * low + s * high)


def candidates(base: Ground) -> tuple[list[Hypothesis], list[Foreign]]:
    """One hypothesis for each substance of the catalogue that is not in the run, and what each does."""
    others = [substance for substance in catalogue() if substance.name not in base.mixture.names]
    if base.has("refractive index"):
        others = [substance for substance in others if substance.refractive_index is not None]
    weights = np.array([NAME_WEIGHT.get(s.name, FAMILY_WEIGHT.get(s.family, 0.7)) for s in others])
    odds = TOTAL_ODDS * weights / weights.sum()
    effects = [foreign(base, substance) for substance in others]
    pots = np.stack([effect.pot(stages, reflux) for effect in effects for stages, reflux, _ in STILLS])
    ways = traces(base, LEVELS, pots)
    step = len(STILLS)
    found = [
        _hypothesis(effect, ways[i * step : (i + 1) * step], float(prior))
        for i, (effect, prior) in enumerate(zip(effects, odds, strict=True))
    ]
    return found, effects


def _hypothesis(effect: Foreign, ways: list[Trace], prior: float) -> Hypothesis:
    same = Trace(np.zeros((1, effect.base.evidence.size)))
    variants = [_variant(effect, way, weight) for way, (_, _, weight) in zip(ways, STILLS, strict=True)]
    variants.append(replace(_variant(effect, same, UNIFORM), uniform=True))
    name = effect.substance.name
    return Hypothesis(f"third component: {name}", name, prior, tuple(variants), "mass fraction")


def _variant(effect: Foreign, way: Trace, weight: float) -> Variant:
    scale = LITTLE.get(effect.substance.name, SCALE)
    richest = int(np.argmax(way.content(scale)))
    return Variant(
        weight,
        lambda size: effect.at(way.content(size)),
        scale,
        one_sided=True,
        label=effect.base.evidence.names[richest],
        carried=Carried(way.content, effect.at, effect.slope, effect.errors, effect.mixture),
    )


def foreign(base: Ground, substance: Substance) -> Foreign:
    """Solve boiling with the component at each of `LEVELS` on a coarse table of the run's own components."""
    mixture = Mixture([*base.mixture.names, substance.name])
    pressure = base.evidence.pressure
    n = base.mixture.n
    if n in TABLE_POINTS:
        axis = np.linspace(0.0, 1.0, TABLE_POINTS[n])
        own = fractions_from_cells(
            axis[:, None] if n == 2 else np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1)
        )
    else:
        own = base.w / base.w.sum(axis=-1, keepdims=True)
    w = own[..., None, :] * (1.0 - LEVELS[:, None])
    vapour = mixture.mole_fractions(np.concatenate([w, np.broadcast_to(LEVELS[:, None], (*w.shape[:-1], 1))], axis=-1))
    T, x = mixture.dew_point(vapour, pressure)
    bubble = mixture.bubble_point(vapour, pressure)[0] if base.has("first drop") or base.has(POT) else None
    return Foreign(substance, mixture, base, x, T, bubble, _index(base, mixture))


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
