"""The readings of a series as functions of composition: prediction, slope, and what the shared errors do to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition.evidence import Evidence, shared_names
from fractionkit.inference.predict import density_errors, index_errors
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured

Array = NDArray[np.float64]
_Property = Callable[[Array, Array], Array]

ROOM = 293.15  # K, where a reading that was not taken has no temperature
STEP = 1e-4  # mass fraction, of the central differences
EDGE = 1e-3  # by which slopes are taken inside the simplex, so that a step fits on either side


@dataclass(frozen=True)
class Sensor:
    """One kind of reading of K samples.

    reading : (K,), zero where not taken; precision : (K,) 1/sd^2 of its fresh error, zero there. temperature : (K,) K.
    felt : (K, p) change of the reading for one standard deviation of each instrument's error, zero for the model's.
    own, places : numbers of the model errors that move the prediction, and their places among the p shared errors.
    """

    reading: Array
    precision: Array
    temperature: Array
    felt: Array
    value: _Property
    errors: _Property
    own: NDArray[np.intp]
    places: NDArray[np.intp]

    def predict(self, w: Array) -> Array:
        """Prediction (..., K) at compositions (..., K, n), all shared errors zero."""
        return self.value(w, self.temperature)

    def slope(self, w: Array) -> Array:
        """Slope (..., K, n - 1) against each component but the last, which gives way."""
        n = w.shape[-1]
        inside = (w + EDGE / n) / (1.0 + EDGE)
        found = []
        for j in range(n - 1):
            step = np.zeros(n)
            step[j], step[-1] = STEP, -STEP
            found.append((self.predict(inside + step) - self.predict(inside - step)) / (2.0 * STEP))
        return np.stack(found, axis=-1)

    def shift(self, w: Array, theta: Array) -> Array:
        """What the shared errors ``theta`` (..., 1, p) add to a reading at ``w`` (..., K, n)."""
        moved = self.errors(w, self.temperature)[..., self.own]
        return np.asarray((moved * theta[..., self.places]).sum(axis=-1) + (self.felt * theta).sum(axis=-1))

    def jacobian(self, w: Array) -> Array:
        """Change (K, p) of a reading at ``w`` (K, n) for one standard deviation of each shared error."""
        found = self.felt.copy()
        found[:, self.places] += self.errors(w, self.temperature)[..., self.own]
        return found


def sensors_of(mixture: Mixture, evidence: Evidence) -> tuple[tuple[str, ...], list[Sensor]]:
    """Names of the p shared errors, and the kinds of reading taken: density, refractive index."""
    kinds: list[tuple[Measured, Array, _Property, _Property, NDArray[np.intp]]] = []
    if np.isfinite(evidence.density.value).any():
        warm = np.nan_to_num(evidence.density_temperature, nan=ROOM)
        kinds.append((evidence.density, warm, mixture.density, mixture.density_errors, density_errors(mixture)))
    if np.isfinite(evidence.index.value).any():
        warm = np.nan_to_num(evidence.index_temperature, nan=ROOM)
        value, errors = mixture.refractive_index, mixture.refractive_index_errors
        kinds.append((evidence.index, warm, value, errors, index_errors(mixture)))
    used = sorted({int(i) for kind in kinds for i in kind[-1]})
    felt = shared_names([kind[0] for kind in kinds])
    names = (*(mixture.model_errors[i].name for i in used), *felt)
    return names, [_sensor(*kind, used, felt) for kind in kinds]


def _sensor(
    kind: Measured,
    temperature: Array,
    value: _Property,
    errors: _Property,
    own: NDArray[np.intp],
    used: Sequence[int],
    felt: Sequence[str],
) -> Sensor:
    taken = np.isfinite(kind.value) & np.isfinite(kind.repeat)
    shared = np.zeros((len(taken), len(used) + len(felt)))
    for place, name in enumerate(felt, start=len(used)):
        if name in kind.shared:
            shared[:, place] = np.where(taken, np.nan_to_num(kind.shared[name]), 0.0)
    return Sensor(
        np.where(taken, kind.value, 0.0),
        np.where(taken, 1.0 / np.where(taken, kind.repeat, 1.0) ** 2, 0.0),
        temperature,
        shared,
        value,
        errors,
        own,
        np.array([used.index(int(i)) for i in own], dtype=np.intp),
    )
