"""What is unknown of a run through a still besides the number of stages: parameters, each normal before the run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fractionkit.courses.pots import MOST_SOLUTE, SOLUTE
from fractionkit.inference.predict import boiling_errors
from fractionkit.mixture import Mixture
from fractionkit.still import FittedVolatility

Array = NDArray[np.float64]

HOLDUP_MEAN, HOLDUP_MOST = 0.04, 0.3
"""Before the run the hold-up is exponential with this mean, in parts of the charge (common practice, no source)."""

NOTHING = 1e-6
"""Hold-up that is none, so that no equation is stiff for it."""

OPEN = 1.0
"""Standard deviation of ln(w_i/w_j) of the charge about what the cuts add up to, where nothing else is said of it."""

FIT = 2e-5
"""Largest error of fitted vapour fractions that is aimed at."""

OF_MORE = 2.0
"""How much wider the errors of the activities are taken with three and more components: what is not known of one pair is
multiplied over the stages and along the run, and no reading of a ternary tells it apart (simulated runs, `tests.stages`)."""

MOST_REFLUX = 500.0
LEAST_REFLUX = 1e-3
"""Ratio below which, save at 0 itself, it makes no difference how much less runs back; its logarithm has no end."""

USUAL_REFLUX, ANY_REFLUX = 3.0, 1.0
"""Where nobody noted the reflux ratio: median, and standard deviation of its logarithm; 0.4 to 21 in 95 of 100 runs
(common practice, no source)."""


@dataclass(frozen=True)
class Reflux:
    """Reflux ratio L/D: median and standard deviation of its logarithm; ``known`` is False where nobody noted it."""

    ratio: float
    log_u: float
    known: bool = True

    @classmethod
    def of(cls, ratio: float, u: float) -> Reflux:
        """A ratio with its standard uncertainty; 0 is known for certain, as with a bare still head."""
        if ratio <= 0.0:
            return cls(0.0, 0.0)
        ratio = max(ratio, LEAST_REFLUX)
        return cls(ratio, float(np.log1p(min(u, MOST_REFLUX) / ratio)))

    @classmethod
    def unknown(cls) -> Reflux:
        """Nobody noted it: any usual ratio."""
        return cls(USUAL_REFLUX, ANY_REFLUX, known=False)


MOST_STAGES = 30.0
STEPS = {"stages": 0.08, "reflux": 0.2, "charge": 0.03}
"""Differences from which slopes are taken, in standard deviations."""


@dataclass(frozen=True)
class Stages:
    """Number of theoretical stages before the run: normal about ``value``, cut off at 1; without one, ln N uniform."""

    value: float | None = None
    u: float = 0.0

    def at(self, v: Array) -> Array:
        """Stages (S,) at parameters (S,) that are N(0, 1) before the run."""
        from scipy.special import ndtr, ndtri

        if self.value is None:
            return np.asarray(MOST_STAGES ** ndtr(v))
        below = ndtr((1.0 - self.value) / self.u)
        above = (1.0 - below) * ndtr(-v)  # of the upper tail, which keeps its digits
        return np.asarray(np.maximum(self.value - self.u * ndtri(np.maximum(above, 1e-300)), 1.0))

    def parameter(self, stages: Array) -> Array:
        """Inverse of `at`, kept within 6 standard deviations."""
        from scipy.special import ndtr, ndtri

        if self.value is None:
            part = np.log(stages) / np.log(MOST_STAGES)
        else:
            below = ndtr((1.0 - self.value) / self.u)
            part = 1.0 - ndtr((self.value - stages) / self.u) / (1.0 - below)
        return np.asarray(np.clip(ndtri(np.clip(part, 1e-9, 1.0 - 1e-9)), -6.0, 6.0))


@dataclass(frozen=True)
class Scenarios:
    """S ways in which the run may have gone.

    stages : (S,). holdup : (S,) moles on the column in parts of the charge. reflux : (S,). w : (S, n) mass fractions of
    the charge. mass : (S,) kg of charge. volatility : the liquids; ``at`` : (S,) standard deviations by which pressure is off.
    """

    stages: Array
    holdup: Array
    reflux: Array
    w: Array
    mass: Array
    volatility: FittedVolatility
    at: Array


class Space:
    """Parameters ``v`` (S, d), each N(0, 1) before the run, and what they mean.

    In this order: stages; hold-up; ln reflux where it is uncertain; what does not boil, where the pot was read
    (``pot_read``); the charge's composition (n - 1); its mass; vapour pressures and activities (one each of the mixture's
    model errors that move boiling points); pressure.
    """

    def __init__(
        self,
        mixture: Mixture,
        pressure: float,
        pressure_u: float,
        stages: Stages,
        reflux: Reflux,
        w: Array,
        mass: float,
        mass_u: float,
        *,
        pot_read: bool = False,
    ) -> None:
        self.mixture, self.pressure, self.stages, self.reflux = mixture, pressure, stages, reflux
        self.mass, self.mass_u = mass, mass_u
        n = mixture.n
        self.base = int(np.argmax(w))
        self.others = [i for i in range(n) if i != self.base]
        safe = np.maximum(w, 1e-3)
        self.centre = np.log(safe[self.others] / safe[self.base])
        self.errors = boiling_errors(mixture)
        activity = [mixture.model_errors[i].kind != "vapour_pressure" for i in self.errors]
        self.wider = np.where(activity, 1.0 if n == 2 else OF_MORE, 1.0)
        names = [
            "stages",
            "hold-up",
            *(["reflux"] if reflux.log_u > 0.0 else []),
            *(["solute"] if pot_read else []),
            *(f"charge {i}" for i in self.others),
            "mass",
        ]
        self.first_error = len(names)
        self.names: tuple[str, ...] = (*names, *(mixture.model_errors[i].name for i in self.errors), "pressure")
        self.step = np.array([STEPS.get(name.split()[0], 0.4) for name in self.names])
        self._members(pressure, pressure_u)

    def _members(self, pressure: float, pressure_u: float) -> None:
        identity = np.eye(len(self.mixture.model_errors))
        mixtures = [
            self.mixture,
            *(self.mixture.perturbed(f * identity[i]) for f, i in zip(self.wider, self.errors, strict=True)),
            self.mixture,
        ]
        at = np.full(len(mixtures), pressure)
        at[-1] += pressure_u
        self.fitted = FittedVolatility(mixtures, at, goal=FIT)

    def factor(self, name: str) -> float:
        """Standard uncertainties of the mixture's own error for one unit of the parameter ``name``."""
        place = self.names.index(name) - self.first_error
        return float(self.wider[place]) if 0 <= place < len(self.wider) else 1.0

    @property
    def size(self) -> int:
        """Number d of parameters."""
        return len(self.names)

    def scenarios(self, v: Array) -> Scenarios:
        """What parameters (S, d) mean."""
        n = self.mixture.n
        holdup = self.holdup_of(v[:, 1])
        ratio = np.full(len(v), self.reflux.ratio)
        if self.reflux.log_u > 0.0:
            ratio = np.minimum(ratio * np.exp(v[:, 2] * self.reflux.log_u), MOST_REFLUX)
        mass_at = self.first_error - 1
        open_ = v[:, mass_at - (n - 1) : mass_at]
        logs = np.zeros((len(v), n))
        logs[:, self.others] = self.centre + OPEN * open_
        w = np.exp(logs - logs.max(axis=1, keepdims=True))
        w /= w.sum(axis=1, keepdims=True)
        mass = self.mass * np.exp(v[:, mass_at] * self.mass_u / self.mass)
        shares = v[:, self.first_error :]
        weights = np.concatenate([1.0 - shares.sum(axis=1, keepdims=True), shares], axis=1)
        stages = self.stages.at(v[:, 0])
        # a pot alone has no column to hold anything; up to two stages its hold-up comes in gradually
        return Scenarios(
            stages,
            holdup * np.minimum(stages - 1.0, 1.0),
            ratio,
            w,
            mass,
            self.fitted.blended(weights, self.pressure),
            v[:, -1],
        )

    def holdup_of(self, v: Array) -> Array:
        """Hold-up (S,) of its parameter."""
        from scipy.special import log_ndtr

        holdup = np.minimum(-HOLDUP_MEAN * log_ndtr(-v), HOLDUP_MOST)
        return np.where(holdup < NOTHING, 0.0, holdup)

    def solute(self, v: Array) -> Array:
        """Moles (S,) of what does not boil for one mole of the residue; the distribution is `courses.pots`'s."""
        from scipy.special import ndtr

        above = ndtr(-v[:, self.names.index("solute")])
        return np.asarray(np.minimum(SOLUTE * (np.maximum(above, 1e-12) ** -0.5 - 1.0), MOST_SOLUTE))

    @cached_property
    def rise_by_pressure(self) -> float:
        """dT/d(ln P) in K of an even mixture: it differs by a tenth between the solvents that this is for."""
        even = np.full(self.mixture.n, 1.0 / self.mixture.n)
        low, high = (float(self.mixture.bubble_point(even, part * self.pressure)[0]) for part in (1.0, 1.01))
        return (high - low) / float(np.log(1.01))

    def stages_at(self, stages: Array) -> Array:
        """Parameter (S,) that means so many stages."""
        return self.stages.parameter(stages)


def balance_composition(masses: Sequence[Array], compositions: Sequence[Array]) -> Array:
    """Mass fractions (n,) of everything that came out, from masses (K,) and mean compositions (K, n)."""
    total = sum((m[:, None] * w).sum(axis=0) for m, w in zip(masses, compositions, strict=True))
    return np.asarray(total / np.sum(total))
