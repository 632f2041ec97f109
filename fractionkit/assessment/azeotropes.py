"""What distilling again does not part: cuts at an azeotrope or beyond it, and cuts that stand in two layers."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import CorrectedRun, RunPosterior
from fractionkit.lots import Verdict
from fractionkit.mixture import Mixture
from fractionkit.quantities import Flag
from fractionkit.sheets import Run

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

NEAR = (
    0.02  # mass fraction that the models leave an azeotrope's composition uncertain by; see data/checks/azeotropes.csv
)
OTHERS = 0.03  # mass fraction of other components up to which a cut is taken for a mixture of the pair
WATER = "water"


@dataclass(frozen=True)
class Azeotrope:
    """A pair that boils without change at the run's pressure, and how the run's K cuts stand to it.

    first, second : names; ``share``: mass fraction of the first in what boils so; ``temperature``: K. layers : whether two
    liquids boil together. washes : whether the second mixes with water and the first does not. at : (K,) cuts that are
    this azeotrope; of two liquids, that stand in two layers. beyond : (K,) cuts on the second's side of it.
    """

    first: str
    second: str
    share: float
    temperature: float
    layers: bool
    washes: bool
    at: Flags
    beyond: Flags

    @property
    def named(self) -> str:
        """As a sentence calls it."""
        return f"the azeotrope with {self.second} (about {100 * self.share:.0f} wt% {self.first})"


def azeotropes(
    run: Run, mixture: Mixture, corrected: CorrectedRun, posterior: RunPosterior, parts: Flags
) -> tuple[Azeotrope, ...]:
    """Azeotropes that some cut of the run is, or is beyond as seen from the target; the target is the first of a pair.

    parts : (K,) which cuts stand in two layers.
    """
    target = None if run.target is None else run.components.index(run.target.component)
    found = []
    for i, j in combinations(range(mixture.n), 2):
        if j == target:
            i, j = j, i
        both = posterior.draws[:, :, i] + posterior.draws[:, :, j]
        pair = both.mean(axis=0) >= 1.0 - OTHERS
        if not pair.any():
            continue
        point = mixture.azeotrope(i, j, corrected.evidence.pressure)
        if point is None:
            continue
        low, share, high = np.quantile(posterior.draws[:, :, i] / np.maximum(both, 1e-12), [0.025, 0.5, 0.975], axis=0)
        away = share - float(point.w[0])
        wide = np.minimum(np.maximum(NEAR, 0.5 * (high - low)), 0.5 * (1.0 - float(point.w[0])))
        at = parts if point.liquids is not None else np.abs(away) <= wide
        names = (mixture.names[i], mixture.names[j])
        place = Azeotrope(
            *names, float(point.w[0]), point.T, point.liquids is not None, _washes(*names),
            pair & at, pair & ~at & (away < -wide) & (i == target),
        )  # fmt: skip
        if (place.at | place.beyond).any():
            found.append(place)
    return tuple(found)


def _washes(first: str, second: str) -> bool:
    if WATER in (first, second):
        return False
    return Mixture([first, WATER]).may_split and not Mixture([second, WATER]).may_split


def settled(found: tuple[Azeotrope, ...], parts: Flags, run: Run) -> dict[int, Verdict]:
    """What becomes of cuts that distilling again does not bring to the target, or that stand in two layers (K,), by number."""
    verdicts: dict[int, Verdict] = {}
    if run.target is None:
        return verdicts
    for place in found:
        if place.first != run.target.component or run.target.purity <= place.share:
            continue
        for k in np.flatnonzero(place.at | place.beyond).tolist():
            verdicts[k] = _verdict(place, beyond=bool(place.beyond[k]))
    return verdicts | dict.fromkeys(np.flatnonzero(parts).tolist(), _TO_PART)


def _verdict(place: Azeotrope, *, beyond: bool) -> Verdict:
    if beyond:
        state = f"on {place.second}'s side of {place.named}: distilling again gives at most that"
    else:
        state = f"{place.named}: distilling again leaves it as it is"
    if place.washes:
        return Verdict("recycle", f"{state}; {_wash(place)} first, then carry it into the next charge")
    return Verdict("waste", state)


_TO_PART = Verdict(
    "recycle",
    "it stands in two layers: part them, dry the solvent, weigh and measure it again before it joins a lot or a charge",
)


def _wash(place: Azeotrope) -> str:
    return f"wash the {place.second} out with water and dry"


def azeotrope_flags(found: tuple[Azeotrope, ...], run: Run, pressure: float) -> tuple[Flag, ...]:
    """One sentence an azeotrope: what it is, which cuts are it, what that means."""
    return tuple(Flag("azeotrope", _sentence(place, run, pressure)) for place in found)


def _sentence(place: Azeotrope, run: Run, pressure: float) -> str:
    where = f"about {100 * place.share:.0f} wt% {place.first}, {place.temperature - 273.15:.1f} °C at {pressure / 1e3:.1f} kPa"
    if place.layers:
        text = f"{place.first} and {place.second} boil together as two liquids: {where}"
        if place.at.any():
            hold = "holds" if place.at.sum() == 1 else "hold"
            text += f"; {_named(run, place.at)} {hold} more {place.second} than dissolves"
        return f"{text}. Part the layers and dry the solvent before it is distilled again"
    told = []
    if place.at.any():
        told.append(f"{_named(run, place.at)} {'is' if place.at.sum() == 1 else 'are'} about this mixture")
    if place.beyond.any():
        lie = "lies" if place.beyond.sum() == 1 else "lie"
        told.append(f"{_named(run, place.beyond)} {lie} on {place.second}'s side of it")
    text = f"{place.first} and {place.second} form an azeotrope: {where}; {', and '.join(told)}"
    text += ". Distilling again at this pressure does not part it"
    if place.washes:
        text += f"; {place.second} mixes with water and {place.first} does not: {_wash(place)}, where that suits"
    return text


def _named(run: Run, cuts: Flags) -> str:
    """Names of cuts (K,), three and more in succession by the first and the last."""
    found = np.flatnonzero(cuts)
    groups = [[run.cuts.names[k] for k in part] for part in np.split(found, np.flatnonzero(np.diff(found) > 1) + 1)]
    parts = [name for group in groups for name in (group if len(group) < 3 else [f"{group[0]} to {group[-1]}"])]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def layered(run: Run, mixture: Mixture, posterior: RunPosterior) -> Flags:
    """Cuts (K,) that stand in two layers: there is more of one component than dissolves where their density was read."""
    return mixture.parts(posterior.mean, _read_at(run))


def _read_at(run: Run) -> Array:
    return np.where(np.isnan(run.cuts.density_temperature), 293.15, run.cuts.density_temperature)


def layer_flags(run: Run, parts: Flags) -> dict[int, Flag]:
    """Said of each cut that stands in two layers (K,), by number of the cut."""
    read_at = _read_at(run)
    return {
        k: Flag(
            "two_layers",
            f"by its composition it stands in two layers at {read_at[k] - 273.15:.0f} °C: the figures are of all that came "
            "over; part the layers, dry the solvent, then weigh it and measure its density again",
        )
        for k in np.flatnonzero(parts).tolist()
    }
