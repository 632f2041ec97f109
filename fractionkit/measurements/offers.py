"""Measurements that could be made next: what each would read in every draw, and its own errors."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.dry_point import DRY_POINT, DRY_REPEAT
from fractionkit.measurements.ways import BAROMETER_U, CALIBRATED_BIAS, REPEAT
from fractionkit.measurements.world import PRESSURE, ROOM, World
from fractionkit.readings.methods import METHODS
from fractionkit.readings.refractometer import DEFAULT_U as INDEX_U
from fractionkit.readings.refractometer import THERMOMETER_U, TYPICAL_SLOPE
from fractionkit.readings.terms import Measured
from fractionkit.readings.thermometer import THERMOMETER

Array = NDArray[np.float64]
Cost = Literal["minutes", "balance", "instrument"]
Kind = Literal["thermometer", "barometer", "finer density", "density", "refractive index", "boiling range"]

NEXT_DECIMAL = 7.0  # a finer instrument leaves a seventh of bias and repeatability: halfway, by factors, from 5 to 10
NONE = np.zeros(0, dtype=np.intp)
WORTH = 1.5  # an instrument is offered where it is at least so much better than what was used


@dataclass(frozen=True)
class Offer:
    """One measurement.

    cuts : numbers of those measured, none where an instrument is looked at. reading : (D, r) without its own errors;
    noise : (r, r) their covariance. common, fresh : standard uncertainties of the instrument, SI, alike in all readings
    and in each: what the noise has of them.
    """

    kind: Kind
    what: str
    cost: Cost
    cuts: NDArray[np.intp]
    reading: Array
    noise: Array
    common: float
    fresh: float


def offers(world: World, cuts: NDArray[np.intp], uncertain: NDArray[np.intp]) -> Iterator[Offer]:
    """All that the run lacks. cuts : those at stake; uncertain : the same, the most uncertain first."""
    yield from _thermometer(world)
    yield from _barometer(world)
    yield from _finer_density(world, cuts)
    lacking = [k for k in uncertain if not np.isfinite(world.evidence.density.value[k])]
    for k in lacking[:4]:
        yield _density(world, int(k))
    if _has_index(world):
        if len(cuts) > 1:
            yield _index(world, cuts)
        if not np.isfinite(world.evidence.index.value[uncertain[0]]):
            yield _index(world, uncertain[:1])
    untested = [k for k in uncertain if not np.isfinite(world.evidence.range_start.value[k])]
    for k in untested[:3]:
        yield _boiling_range(world, int(k))


def _thermometer(world: World) -> Iterator[Offer]:
    heads = (world.evidence.head_start, world.evidence.head_end, world.evidence.range_start)
    sizes = [np.nanmax(np.abs(kind.shared[THERMOMETER]), initial=0.0) for kind in heads if THERMOMETER in kind.shared]
    u = max((float(size) for size in sizes if np.isfinite(size)), default=0.0)
    if THERMOMETER in world.errors and u > WORTH * CALIBRATED_BIAS:
        shown = u * world.theta[:, [world.errors.index(THERMOMETER)]]
        what = "thermometer held in melting ice and in steam"
        yield Offer("thermometer", what, "minutes", NONE, shown, _one(CALIBRATED_BIAS), CALIBRATED_BIAS, 0.0)


def _barometer(world: World) -> Iterator[Offer]:
    u = world.evidence.pressure_u
    if PRESSURE in world.errors and u > WORTH * BAROMETER_U:
        shown = u * world.theta[:, [world.errors.index(PRESSURE)]]
        what = "pressure by a barometer at the bench"
        yield Offer("barometer", what, "minutes", NONE, shown, _one(BAROMETER_U), BAROMETER_U, 0.0)


def _one(u: float) -> Array:
    return np.array([[u**2]])


def _finer_density(world: World, cuts: NDArray[np.intp]) -> Iterator[Offer]:
    """Density to the next decimal: an instrument of its own, down to what an oscillating meter leaves."""
    kind, meter = world.evidence.density, METHODS["meter"]
    bias, repeat = _used(kind)
    if bias is None or repeat is None or bias < WORTH * meter.bias:
        return
    fresh, common = max(repeat / NEXT_DECIMAL, meter.repeat), max(bias / NEXT_DECIMAL, meter.bias)
    value, jacobian = world.liquid("density", cuts, ROOM)
    slope = (world.liquid("density", cuts, ROOM + 1.0)[0] - value).mean(axis=0)
    warm = [slope * u for u in meter.thermometer]
    noise = np.diag(fresh**2 + warm[1] ** 2) + common**2 + np.outer(warm[0], warm[0]) + world.unknown(jacobian)
    what = f"density of {_named(world, cuts)} to ± {1.96e-3 * np.hypot(fresh, common):.1g} g/mL"
    own = (float(np.hypot(common, np.abs(warm[0]).mean())), float(np.hypot(fresh, np.abs(warm[1]).mean())))
    yield Offer("finer density", what, "instrument", cuts, value + world.known(jacobian, {}), noise, *own)


def _density(world: World, k: int) -> Offer:
    """Density of a cut that has none, by the instrument in use: its bias is the one inferred."""
    kind, cuts = world.evidence.density, np.array([k])
    usual = METHODS["pycnometer"]
    felt: dict[str, Array | float] = {}
    fresh, bias = _used(kind)[1], 0.0
    for name, change in kind.shared.items():
        if name in world.errors and np.isfinite(change).any():
            felt[name] = float(np.nanmedian(change))
    if fresh is None:
        fresh, bias = float(usual.repeat_of(1500.0)), float(usual.bias_of(1500.0))
    value, jacobian = world.liquid("density", cuts, ROOM)
    noise = _one(float(np.hypot(fresh, bias))) + world.unknown(jacobian)
    what = f"density of {world.evidence.names[k]}"
    return Offer("density", what, "balance", cuts, value + world.known(jacobian, felt), noise, bias, fresh)


def _used(kind: Measured) -> tuple[float | None, float | None]:
    """Bias and repeatability of the densities read, kg/m3; None where none was."""
    taken = np.isfinite(kind.value)
    if not taken.any():
        return None, None
    parts = [np.nanmedian(np.abs(change[taken])) for change in kind.shared.values()]
    return float(np.sqrt(np.sum(np.square(parts)))), float(np.nanmedian(kind.repeat[taken]))


def _has_index(world: World) -> bool:
    return not np.isnan(world.mixture.constants.refraction.reference).any()


def _index(world: World, cuts: NDArray[np.intp]) -> Offer:
    bias, repeat = INDEX_U["abbe"]
    warm = [TYPICAL_SLOPE * u for u in THERMOMETER_U]
    value, jacobian = world.liquid("index", cuts, ROOM)
    common, fresh = float(np.hypot(bias, warm[0])), float(np.hypot(repeat, warm[1]))
    noise = np.eye(len(cuts)) * fresh**2 + common**2 + world.unknown(jacobian)
    what = f"refractive index of {_named(world, cuts)}"
    return Offer("refractive index", what, "instrument", cuts, value + world.known(jacobian, {}), noise, common, fresh)


def _boiling_range(world: World, k: int) -> Offer:
    """First drop and dry point of a boiling-range test with the thermometer and the pressure of the run."""
    cuts = np.array([k])
    first, moved, pressed = world.boiling("bubble", cuts)
    last, moved_last, pressed_last, by_left, differs = world.dry(cuts)
    shown, moved, pressed = (
        np.concatenate(both, axis=1) for both in ((first, last), (moved, moved_last), (pressed, pressed_last))
    )
    left = np.concatenate([np.zeros_like(by_left), by_left], axis=1)
    head = world.evidence.head_start
    felt: dict[str, Array | float] = {PRESSURE: pressed, DRY_POINT: left}
    own = 0.0
    for name, change in head.shared.items():
        if name in world.errors and name != PRESSURE and np.isfinite(change).any():
            felt[name] = float(np.nanmedian(change))
    if PRESSURE not in world.errors:
        own = float(np.hypot(np.abs(pressed).mean(), 0.6))
    repeat = float(np.nanmedian(head.repeat)) if np.isfinite(head.repeat).any() else REPEAT
    noise = np.diag([repeat**2, repeat**2 + DRY_REPEAT**2 + float(differs.mean())]) + own**2 + world.unknown(moved)
    if DRY_POINT not in world.errors:
        noise[1, 1] += float((by_left**2).mean())
    what = f"boiling-range test of {world.evidence.names[k]}"
    return Offer("boiling range", what, "minutes", cuts, shown + world.known(moved, felt), noise, own, repeat)


def _named(world: World, cuts: NDArray[np.intp]) -> str:
    return world.evidence.names[cuts[0]] if len(cuts) == 1 else f"{len(cuts)} cuts"
