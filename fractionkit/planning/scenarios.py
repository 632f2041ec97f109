"""Scenarios of a plan: draws of all that is not known before heating, the same for every set-up that is compared."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fractionkit.mixture import Mixture
from fractionkit.planning.feed import Feed, feed_of
from fractionkit.planning.sampling import stratified, truncated
from fractionkit.planning.setups import SetUp
from fractionkit.readings import correct_pressure
from fractionkit.readings.pressure import Pressure
from fractionkit.readings.thermometer import Stem, correct_temperatures
from fractionkit.sheets.still_model import StillSheet
from fractionkit.still import FittedVolatility

Array = NDArray[np.float64]

COUNT = 100
SEED = 20240517
FIT_GOAL = 2e-3
"""Largest error of a vapour's mole fraction in any scenario at which the fit is good enough; 5e-5 and 0.02 K are usual."""

MODELS = {4: 32, 5: 24}
"""Models and pressures drawn, by the number of components, where fitting one for every scenario would take too long."""

HOTTEST = 420.0
"""K to which densities are carried at most."""

LEAST_STAGES, MOST_STAGES = 1.0, 150.0


@dataclass(frozen=True)
class Scenarios:
    """S draws of feed, pressure, thermodynamic model and thermometer.

    feed : what is distilled. mixture : the model as it stands. volatility : of S perturbed models, each at its
    scenario's pressure. pressure : (S,) Pa; pressure_mean, pressure_u : Pa.
    reading : (S,) K that the own thermometer shows above the true head temperature (near the boiling points), its bias.
    fresh : (S,) K that the one reading which changes a receiver is off besides.
    column : (S, 3) standard normal draws for stages, hold-up and throughput of whatever set-up is looked at.
    limits : what was found of set-ups at total reflux, so that it is found once for all their reflux ratios.
    """

    feed: Feed
    mixture: Mixture
    volatility: FittedVolatility
    pressure: Array
    pressure_mean: float
    pressure_u: float
    reading: Array
    column: Array
    fresh: Array
    warnings: tuple[str, ...] = ()
    limits: dict[SetUp, float] = field(default_factory=dict, compare=False, init=False)

    @property
    def at_the_change(self) -> Array:
        """What is shown above the truth (S,) K when a receiver is changed by the head temperature."""
        return np.asarray(self.reading + self.fresh)

    @property
    def count(self) -> int:
        """Number of scenarios S."""
        return len(self.pressure)

    @property
    def component(self) -> int:
        """Place of the target among the components."""
        return self.feed.components.index(self.feed.target.component)

    @property
    def moles(self) -> Array:
        """Charge in moles (S, n)."""
        return np.asarray(self.feed.mass[:, None] * self.feed.w / self.mixture.molar_mass)

    def molar_volume(self) -> Array:
        """Volume of a mole of the boiling charge (S,), m3."""
        w = self.feed.w.mean(axis=0)
        T, _ = self.mixture.bubble_point(self.mixture.mole_fractions(w), self.pressure_mean)
        density = float(self.mixture.density(w, np.clip(T, None, HOTTEST)))
        return np.asarray(self.feed.mass / density / self.moles.sum(axis=1))

    def pure_volumes(self) -> Array:
        """Volume of a mole of each component near its boiling point (n,), m3."""
        pure = np.eye(self.mixture.n)
        T, _ = self.mixture.bubble_point(pure, self.pressure_mean)
        return np.asarray(self.mixture.molar_mass / self.mixture.density(pure, np.clip(T, None, HOTTEST)))

    def stages(self, setup: SetUp) -> Array:
        """Theoretical stages (S,) of a set-up."""
        return truncated(setup.stages, setup.stages_u, LEAST_STAGES, MOST_STAGES, self.column[:, 0])

    def holdup(self, setup: SetUp) -> Array:
        """Moles (S,) held in column and head."""
        volume = truncated(setup.holdup, setup.holdup_u, 0.0, np.inf, self.column[:, 1])
        return np.asarray(volume / self.molar_volume())

    def throughput(self, setup: SetUp) -> Array | None:
        """Boiling liquid (S,) in m3/s that the column carries, None where it is not known."""
        if setup.throughput is None:
            return None
        return truncated(setup.throughput, setup.throughput_u, 0.1 * setup.throughput, np.inf, self.column[:, 2])


def scenarios_of(sheet: StillSheet, count: int = COUNT, seed: int = SEED) -> Scenarios:
    """Draw the scenarios of a plan.

    Raises
    ------
    InputError, AtOddsError
        as `feed_of`; for a pressure or a thermometer that cannot be corrected.
    """
    rng = np.random.default_rng(seed)
    feed = feed_of(sheet, count, rng)
    mixture = Mixture(feed.components)
    entry = sheet.pressure
    station = correct_pressure(
        **{
            key: getattr(quantity, part)
            for name in ("station", "sea_level", "altitude")
            if (quantity := getattr(entry, name)) is not None
            for key, part in ((name, "value"), (f"{name}_u", "u"))
        }
    )
    z = stratified(count, 4, rng)
    models = min(count, MODELS.get(mixture.n, count))
    drawn = stratified(models, 1 + len(mixture.model_errors), rng)
    pressure = np.maximum(station.value + station.u * drawn[:, 0], 0.5 * station.value)
    fitted = FittedVolatility([mixture.perturbed(theta) for theta in drawn[:, 1:]], pressure, goal=FIT_GOAL)
    # which model and pressure goes with which of the other draws is left to chance
    which = rng.permutation(np.resize(np.arange(models), count))
    shift, spread, repeat = reading_error(sheet, feed, mixture, station)
    return Scenarios(
        feed=feed,
        mixture=mixture,
        volatility=fitted.take(which) if models > 1 else fitted,
        pressure=pressure[which],
        pressure_mean=station.value,
        pressure_u=station.u,
        reading=shift + spread * z[:, 0],
        column=z[:, 1:4],
        fresh=repeat * stratified(count, 1, rng)[:, 0],
        warnings=(*station.warnings, *feed.remarks),
    )


def reading_error(sheet: StillSheet, feed: Feed, mixture: Mixture, station: Pressure) -> tuple[float, float, float]:
    """What the head thermometer shows above the truth near the boiling points, its u, and the u of one reading besides, K.

    The bias is that which the run showed that the feed comes from, unless the sheet says something of it.
    """
    entry = sheet.thermometer
    stem = entry.stem
    true, _ = mixture.bubble_point(mixture.mole_fractions(feed.w.mean(axis=0)), station.value)
    reading = float(true)
    for _ in range(3):  # the correction hardly changes over a few kelvins
        measured = correct_temperatures(
            [reading],
            bias=entry.bias,
            repeat=entry.repeat,
            correction=entry.correction,
            ice_point=None if entry.ice_point is None else entry.ice_point.value,
            ice_point_u=None if entry.ice_point is None else entry.ice_point.u,
            steam_point=None if entry.steam_point is None else entry.steam_point.value,
            steam_point_u=None if entry.steam_point is None else entry.steam_point.u,
            pressure=station.value,
            pressure_u=station.u,
            stem=None if stem is None else Stem(stem.exposed, stem.temperature, stem.liquid),
        )
        reading += float(true) - float(measured.value[0])
    repeat = float(measured.repeat[0])
    silent = entry.bias is None and entry.correction == 0.0 and entry.ice_point is None and entry.steam_point is None
    if feed.reading_bias is not None and silent and stem is None:
        return feed.reading_bias, feed.reading_bias_u, repeat
    spread = float(np.sqrt(sum(float(part[0]) ** 2 for part in measured.shared.values())))
    return reading - float(true), spread, repeat
