"""Which single measurement would tell two explanations apart.

Each explanation's fit predicts what the measurement would show and how surely; the expected log evidence ratio is the
mean of the two Kullback-Leibler divergences between the normal predictions, the instrument's scatter included.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.blocks import PRESSURE
from fractionkit.diagnosis.ground import Ground, node_shares
from fractionkit.diagnosis.hypothesis import Explained, Result
from fractionkit.diagnosis.instruments import LAPSE, POWER

Array = NDArray[np.float64]

# Standard uncertainty of each measurement, done with care (common practice, no source).
U_BAROMETER = 100.0  # Pa
U_FIXED_POINT = 0.1  # K
U_DENSITY = 0.3  # kg/m3, weighed pycnometer with the thermometer in the liquid
U_INDEX = 2e-4
U_FIRST_DROP = 0.2  # K, checked thermometer and barometer
U_WATER = 2e-4  # mass fraction, copper sulfate or Karl Fischer
ENOUGH = 2.0  # expected log evidence ratio below which a measurement tells nothing


@dataclass(frozen=True)
class Split:
    """A measurement, its expected log evidence ratio and the separation in its own uncertainties."""

    text: str
    ratio: float
    separation: float


def best_split(base: Ground, first: Result, second: Result) -> Split | None:
    """The measurement that separates two explanations most, None where none would."""
    pair = (first, second)
    tried: list[Split] = []
    _add(tried, "a barometer at the still", pair, lambda r: _pressure(base, r), U_BAROMETER)
    _add(tried, "the thermometer in melting ice and in steam", pair, lambda r: _thermometer(base, r), U_FIXED_POINT)
    _add(tried, "a water test of the first cut", pair, _water, U_WATER)
    names = base.evidence.names
    densities = [_density(base, r.best) for r in pair]
    _add_cuts(tried, "the density of {cut} measured again, thermometer in the liquid", names, densities, U_DENSITY)
    indices = [_property(base, r, "index") for r in pair]
    _add_cuts(tried, "the refractive index of {cut}", names, indices, U_INDEX)
    drops = [_property(base, r, "drop") for r in pair]
    _add_cuts(tried, "a boiling-range test of {cut}", names, drops, U_FIRST_DROP)
    found = max(tried, key=lambda split: split.ratio, default=None)
    return found if found is not None and found.ratio > ENOUGH else None


Prediction = tuple[Array, Array]  # mean and standard deviation, each (K,)


def _add(
    tried: list[Split], text: str, pair: tuple[Result, Result], predict: Callable[[Result], Prediction | None], u: float
) -> None:
    both = [predict(result) for result in pair]
    if both[0] is not None and both[1] is not None:
        ratio, separation = _divergence(both[0], both[1], u)
        tried.append(Split(text, float(ratio[0]), float(separation[0])))


def _add_cuts(tried: list[Split], text: str, names: tuple[str, ...], both: list[Prediction | None], u: float) -> None:
    if both[0] is None or both[1] is None:
        return
    ratio, separation = _divergence(both[0], both[1], u)
    best = int(np.argmax(ratio))
    tried.append(Split(text.format(cut=names[best]), float(ratio[best]), float(separation[best])))


def _divergence(first: Prediction, second: Prediction, u: float) -> tuple[Array, Array]:
    a, b = first[1] ** 2 + u**2, second[1] ** 2 + u**2
    away = (first[0] - second[0]) ** 2
    ratio = 0.25 * ((a + away) / b + (b + away) / a) - 0.5
    return ratio, np.sqrt(away / (0.5 * (a + b)))


def _pressure(base: Ground, result: Result) -> Prediction | None:
    """Station pressure that the explanation expects."""
    if PRESSURE not in base.setting.errors:
        return None
    place = base.setting.index(PRESSURE)
    evidence, fit = base.evidence, result.best.fit
    centre = evidence.pressure + evidence.pressure_u * fit.theta[place]
    sd = evidence.pressure_u * fit.sd(place)
    if result.hypothesis.code == "sea-level pressure":
        altitude = max(result.best.size, 0.0)
        centre *= (1.0 - LAPSE * altitude) ** POWER
        sd = float(np.hypot(sd, 0.00012 * centre * result.best.sd))  # 0.012 % a metre
    return np.array([centre]), np.array([sd])


def _thermometer(base: Ground, result: Result) -> Prediction | None:
    """Error of the thermometer that the explanation expects, K."""
    if "thermometer" not in base.setting.errors:
        return None
    place = base.setting.index("thermometer")
    felt = [kind.shared["thermometer"] for kind in base.evidence.measured() if "thermometer" in kind.shared]
    scale = float(np.nanmax(np.concatenate(felt)))
    fit = result.best.fit
    centre, sd = scale * fit.theta[place], scale * fit.sd(place)
    if result.hypothesis.code == "thermometer offset":
        centre, sd = centre + result.best.size, float(np.hypot(sd, result.best.sd))
    return np.array([centre]), np.array([sd])


def _water(result: Result) -> Prediction | None:
    found = result.hypothesis.cause == "water"
    return np.array([result.best.size if found else 0.0]), np.array([result.best.sd if found else 0.0])


def _density(base: Ground, found: Explained) -> Prediction | None:
    """True density of each cut: what the readings would be without fault and without the density instrument's error."""
    channel = next((c for c in base.block.channels if c.kind == "density"), None)
    if channel is None:
        return None
    own = next(c for c in found.block.channels if c.kind == "density")
    share = node_shares(found.block, found.fit.theta)
    laid_anew = found.content is not None or found.block.nodes is not base.block.nodes
    seen, theta = (own, found.fit.theta) if laid_anew else (channel, found.fit.theta[: base.size])
    eta = seen.at(theta)
    mean = (share * eta).sum(axis=1)
    return mean, np.sqrt((share * (eta - mean[:, None]) ** 2).sum(axis=1))


def _property(base: Ground, result: Result, what: str) -> Prediction | None:
    """Refractive index at 20 degC or first drop of each cut, its content of a third component included."""
    found = result.best
    w = np.broadcast_to(found.block.nodes.w, (base.evidence.size, *found.block.nodes.w.shape[1:]))
    share = node_shares(found.block, found.fit.theta)
    mean_w = (share[..., None] * w).sum(axis=1)
    mixture = base.mixture
    content = found.content
    if content is not None:
        part = content[:, None]
        mixture = found.variant.carried.mixture if found.variant.carried is not None else mixture
        mean_w = np.concatenate([mean_w * (1.0 - part), part], axis=1)
    mean_w = mean_w / mean_w.sum(axis=1, keepdims=True)
    if what == "index":
        if any(substance.refractive_index is None for substance in mixture.substances):
            return None
        mean = mixture.refractive_index(mean_w, 293.15)
        pure = base.mixture.refractive_index(np.eye(base.mixture.n), 293.15)
    else:
        mean, _ = mixture.bubble_point(mixture.mole_fractions(mean_w), base.evidence.pressure)
        pure, _ = base.mixture.bubble_point(np.eye(base.mixture.n), base.evidence.pressure)
    spread = np.sqrt((share[..., None] * (w - (share[..., None] * w).sum(axis=1)[:, None]) ** 2).sum(axis=1))
    sd = np.sqrt(((spread * (pure - pure.mean())) ** 2).sum(axis=1))
    return np.asarray(mean), sd
