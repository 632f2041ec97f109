"""What is known of a lot, attribute by attribute: as entered, or computed from its composition.

A value that was measured and entered stands before one that is computed. What is computed says so in its method.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from fractionkit.grades.attributes import ATTRIBUTES, attribute_named, same_attribute
from fractionkit.grades.model import Array, Limit, Result, Rule
from fractionkit.inference.dry_point import LEFT_FRESH, LEFT_SPREAD, dry_points
from fractionkit.mixture import Mixture
from fractionkit.quantities import Quantity
from fractionkit.readings.atmosphere import STANDARD_PRESSURE
from fractionkit.readings.water import water_density

_ICE = 273.15
_SEED = 20120806
# Share of a density's change with temperature that is not known of a mixture (slopes of handbooks differ by 1 to 3 %).
_SLOPE_U = 0.03
COMPUTED = "computed from composition"
COMPUTED_DENSITY = f"{COMPUTED}, not measured"
COMPUTED_RANGE = f"{COMPUTED}: bubble point and dry point at 101.325 kPa, no boiling-range test"
BY_COMPOSITION = "composition by {}"


class Entered(Protocol):
    """A test that a person entered.

    result : a quantity, or words. high : the upper end where the result is a range (boiling range) or an interval ("below
    0.005 wt%" is 0 to 0.005 wt%). temperature : K, of a density in mass per volume.
    """

    @property
    def attribute(self) -> str: ...  # noqa: D102
    @property
    def result(self) -> Quantity | str: ...  # noqa: D102
    @property
    def method(self) -> str: ...  # noqa: D102
    @property
    def high(self) -> Quantity | None: ...  # noqa: D102
    @property
    def temperature(self) -> float | None: ...  # noqa: D102


@dataclass(frozen=True)
class Sample:
    """A lot to be judged.

    component : the target, canonical name. components : canonical names; draws : (D, n) mass fractions of the lot. tests :
    as entered. assay_method : how the composition was found, like "head temperature and density". confidence : that a
    guarded verdict asks for.
    """

    component: str
    components: tuple[str, ...]
    draws: Array
    confidence: float = 0.95
    rule: Rule = "guarded"
    tests: tuple[Entered, ...] = ()
    assay_method: str = "head temperature and density"

    def result(self, limit: Limit) -> Result | None:
        """What is known of the attribute that ``limit`` is on, in the terms of the limit; None where nothing is."""
        entered = _entered(self.tests, limit)
        if entered is not None:
            return self._moved(entered, limit) if limit.attribute == "density" else entered
        if limit.attribute == "assay":
            return self._share(self.component)
        if limit.attribute == "density":
            return self._density(limit)
        if limit.attribute == "boiling range":
            return self._range
        named = limit.substance or (
            ATTRIBUTES[limit.attribute].component if limit.attribute in ATTRIBUTES else limit.attribute
        )
        return self._share(named) if named in self.components else None

    def _share(self, component: str) -> Result:
        """Mass fraction of a component."""
        column = self.draws[:, self.components.index(component)]
        return Result(BY_COMPOSITION.format(self.assay_method), "fraction", np.asarray(column))

    @cached_property
    def _mixture(self) -> Mixture:
        return Mixture(self.components)

    def _errors(self, moves: Array) -> Array:
        """One draw (D,) of the model's errors, from what each of them moves (D, p): the same world in every attribute."""
        normal = np.random.default_rng(_SEED).standard_normal((len(self.draws), len(self._mixture.model_errors)))
        return np.asarray((moves * normal).sum(axis=-1))

    def _density(self, limit: Limit) -> Result | None:
        at = _sample_temperature(limit)
        if at is None:
            return None
        rho = self._mixture.density(self.draws, at) + self._errors(self._mixture.density_errors(self.draws, at))
        kind, basis, scale = _density_terms(limit)
        return Result(COMPUTED_DENSITY, kind, rho / scale, basis=basis, temperature=None if basis else at)

    @cached_property
    def _range(self) -> Result:
        """First drop at the bubble point; dry point as `inference` has it, one test in one flask: both its spreads."""
        mixture = self._mixture
        x = mixture.mole_fractions(self.draws)
        bubble, y = mixture.bubble_point(x, STANDARD_PRESSURE)
        place = np.hypot(1.0, LEFT_FRESH / LEFT_SPREAD) * np.random.default_rng(_SEED + 1).standard_normal(len(x))
        dry, last = dry_points(mixture, x, STANDARD_PRESSURE, place)
        vapour = mixture.bubble_point(last, STANDARD_PRESSURE)[1]
        first = bubble + self._errors(mixture.bubble_point_errors(x, bubble, y))
        dry = dry + self._errors(mixture.bubble_point_errors(last, dry, vapour))
        return Result(COMPUTED_RANGE, "temperature", np.stack([first, np.maximum(dry, first)], axis=-1))

    def _moved(self, entered: Result, limit: Limit) -> Result:
        """An entered density brought to the temperature and the terms of the limit by the slope of the lot's mixture."""
        at = _sample_temperature(limit)
        if entered.words or at is None:
            return entered
        kind, basis, scale = _density_terms(limit)
        if entered.basis is not None:
            start = _ICE + entered.basis[0]
            own = float(water_density(_ICE + entered.basis[1]))
        elif entered.temperature is not None:
            start, own = entered.temperature, 1.0
        else:
            known = " to ".join(f"{value:g}" for value in entered.interval or entered.value)
            return Result(entered.method, "density", words=f"{known} kg/m3 at no stated temperature")
        w = self.draws.mean(axis=0)
        change = float(self._mixture.density(w, at) - self._mixture.density(w, start))
        method = entered.method if change == 0.0 else f"{entered.method}, moved to {at - _ICE:g} °C"
        if entered.interval is not None:
            low, high = ((end * own + change) / scale for end in entered.interval)
            return Result(method, kind, interval=(low, high), basis=basis)
        u = entered.u[0]
        spread = None if u is None else float(np.hypot(u * own, _SLOPE_U * change)) / scale
        moved = ((entered.value[0] * own + change) / scale,)
        return Result(method, kind, value=moved, u=(spread,), basis=basis, temperature=None if basis else at)


def _density_terms(limit: Limit) -> tuple[str, tuple[float, float] | None, float]:
    """Kind, basis, and the kg/m3 in one unit of what the limit is stated for."""
    end = limit.low or limit.high
    if end is not None and end.kind == "specific_gravity" and end.basis is not None:
        return "specific_gravity", end.basis, float(water_density(_ICE + end.basis[1]))
    return "density", None, 1.0


def _sample_temperature(limit: Limit) -> float | None:
    """K at which the sample's density is wanted."""
    end = limit.low or limit.high
    if end is not None and end.kind == "specific_gravity" and end.basis is not None:
        return _ICE + end.basis[0]
    return limit.temperature


def _entered(tests: Iterable[Entered], limit: Limit) -> Result | None:
    for test in tests:
        if same_attribute(test.attribute, limit.attribute):
            return entered_result(test)
    return None


def entered_result(test: Entered) -> Result:
    """An entered test as a result, in its own terms."""
    if isinstance(test.result, str):
        return Result(test.method, words=test.result)
    found, high = test.result, test.high
    if high is None:
        return Result(
            test.method,
            found.kind,
            value=(found.value,),
            u=(found.u,),
            basis=found.basis,
            temperature=test.temperature,
        )
    if attribute_named(test.attribute) == "boiling range":
        return Result(test.method, found.kind, value=(found.value, high.value), u=(found.u, high.u))
    ends = (found.value, high.value)
    return Result(test.method, found.kind, interval=ends, basis=high.basis, temperature=test.temperature)
