"""What has come over along a distillation, for any receiver changes at once: marks by mass or by head temperature."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.still import Distillation

Array = NDArray[np.float64]
Index = NDArray[np.intp]
By = Literal["mass", "head"]

GAP = 4.0
"""Between the rows that are searched together, each of which runs from 0 to 1."""

BEYOND = 1.0
"""K outside the head temperatures at which a mark means the first drop, or the end."""


@dataclass(frozen=True)
class Collected:
    """S scenarios of a distillation, in kilograms along K points.

    mass : (S, K) kg that have come over, not falling. amounts : (S, K, n) kg of each component in them.
    rate : (S, K, n) mass fractions of what is coming over, the slope of ``amounts`` along ``mass``.
    head : (S, K) K as the thermometer shows it. charge : (S, n) kg. end : (S,) kg where distilling stops.
    """

    mass: Array
    amounts: Array
    rate: Array
    head: Array
    charge: Array
    end: Array

    @property
    def scenarios(self) -> int:
        """Number of scenarios S."""
        return len(self.mass)

    def take(self, rows: slice | Index) -> Collected:
        """Some of the scenarios."""
        return Collected(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def at_mass(self, marks: Array) -> Array:
        """Kilograms of each component (S, G, n) over when rising ``marks`` (G,) or (S, G) kg have come over.

        Cubic in the mass between the points, by amounts and mass fractions at both; what a scenario does not yield is
        not there.
        """
        wanted = np.minimum(np.broadcast_to(marks, (self.scenarios, np.shape(marks)[-1])), self.end[:, None])
        at, part, step = self._cell(wanted)
        every = range(self.amounts.shape[-1])
        reached = np.stack([self._cubic(component, at, part, step) for component in every], axis=-1)
        # monotone but for less than the tolerance of the integration; no receiver holds less than nothing
        return np.clip(np.maximum.accumulate(reached, axis=1), 0.0, self.charge[:, None])

    def one_at_mass(self, masses: Array, component: int) -> Array:
        """Kilograms of one component (S, G) at ``masses`` (S, G) in any order, none above the end."""
        reached = self._cubic(component, *self._cell(masses))
        return np.clip(reached, 0.0, self.charge[:, component, None], out=reached)

    def head_at(self, masses: Array) -> Array:
        """Head temperature (S, G), K as read, when ``masses`` (S, G) kg have come over; linear between the points."""
        at, part, _ = self._cell(np.minimum(masses, self.mass[:, -1:]))
        head = np.ravel(self.head)
        low = head.take(at)
        return np.asarray(low + part * (head.take(at + 1) - low))

    def mass_at_head(self, marks: Array) -> Array:
        """Kilograms (S, G) over when the head first reads ``marks`` (G,) K; nothing below the first drop, all above the end."""
        rising = np.maximum.accumulate(self.head, axis=1)
        low, reach = rising[:, :1], np.maximum(rising[:, -1:] - rising[:, :1], 1e-12)
        after = _rank(np.clip((rising - low) / reach, 0.0, 1.0), np.clip((marks - low) / reach, -0.5, 1.5))
        after = np.where(marks <= low, 0, after)
        last = self.mass.shape[1] - 1
        high = np.minimum(after, last)
        lower = np.maximum(high - 1, 0)
        row = np.arange(self.scenarios)[:, None]
        rise = rising[row, high] - rising[row, lower]
        part = np.where(rise > 0.0, (marks - rising[row, lower]) / np.where(rise > 0.0, rise, 1.0), 0.0)
        found = self.mass[row, lower] + np.clip(part, 0.0, 1.0) * (self.mass[row, high] - self.mass[row, lower])
        found = np.where(after > last, self.end[:, None], found)
        return np.asarray(np.minimum(found, self.end[:, None]))

    def masses(self, marks: Array, by: By) -> Array:
        """Kilograms (S, G) that marks (G,) of either kind stand for."""
        if by == "head":
            return self.mass_at_head(marks)
        return np.asarray(np.minimum(np.broadcast_to(marks, (self.scenarios, len(marks))), self.end[:, None]))

    def at(self, marks: Array, by: By) -> Array:
        """Kilograms of each component (S, G, n) at rising marks (G,)."""
        return self.at_mass(self.masses(marks, by))

    def nodes(self, count: int, by: By) -> Array:
        """Rising marks (G,), G about ``count``: half evenly spread, half as the integration put its points.

        By the head temperature the first and the last lie a kelvin outside what any scenario's head reads.
        """
        longest = float(self.end.max())
        known = np.where(self.mass < self.end[:, None], self.mass, self.end[:, None])
        points = np.quantile(known, np.linspace(0.0, 1.0, count // 2))
        masses = np.union1d(np.linspace(0.0, longest, count - count // 2), points)
        if by == "mass":
            return _apart(masses, 1e-6 * longest)
        read = np.maximum.accumulate(self.head, axis=1)
        heads = replace(self, head=read).head_at(
            np.minimum(np.broadcast_to(masses, (self.scenarios, len(masses))), self.end[:, None])
        )
        inner = np.union1d(
            np.quantile(heads, np.linspace(0.0, 1.0, count - count // 4)),
            np.linspace(heads.min(), heads.max(), count // 4),
        )
        return np.concatenate([[heads.min() - BEYOND], _apart(inner, 1e-4), [heads.max() + BEYOND]])

    @cached_property
    def _lines(self) -> tuple[Array, Array]:
        """Amounts and rates (n, S * K), every component in one row."""
        n = self.amounts.shape[-1]
        return np.moveaxis(self.amounts, -1, 0).reshape(n, -1), np.moveaxis(self.rate, -1, 0).reshape(n, -1)

    @cached_property
    def _scale(self) -> tuple[Array, Array, Index]:
        """Mass in all, rows of masses one after the other with a gap between them, and where each begins (S, 1)."""
        whole = np.maximum(self.mass[:, -1:], 1e-300)
        row = np.arange(self.scenarios)[:, None]
        return whole, (self.mass / whole + GAP * row).ravel(), row

    def _cell(self, wanted: Array) -> tuple[Index, Array, Array]:
        """Cell (S, G) as its place in all rows, part of the cell 0 to 1 and its width (S, G) of masses (S, G)."""
        whole, rising, row = self._scale
        K = self.mass.shape[1]
        found = np.searchsorted(rising, (np.minimum(wanted / whole, 1.0) + GAP * row).ravel()).reshape(wanted.shape)
        at = np.clip(found - 1, row * K, row * K + max(K - 2, 0))
        mass = np.ravel(self.mass)
        start = mass.take(at)
        step = mass.take(at + 1) - start
        part = np.clip((wanted - start) / np.where(step > 0.0, step, 1.0), 0.0, 1.0)
        return at, part, step

    def _cubic(self, component: int, at: Index, p: Array, step: Array) -> Array:
        """Cubic Hermite values of one component's amount at part ``p`` of cells ``at`` of width ``step``."""
        values, slope = (lines[component] for lines in self._lines)
        q = 1.0 - p
        y0, after = values.take(at), at + 1
        rise = values.take(after) - y0
        bend = (q * slope.take(at) - p * slope.take(after)) * step + (p - q) * rise
        return np.asarray(y0 + p * (rise + q * bend))


def collected(
    distillation: Distillation, *, reading_error: ArrayLike = 0.0, stop: ArrayLike | None = None
) -> Collected:
    """Lay a distillation out for cutting.

    Parameters
    ----------
    distillation : Distillation
        One or S scenarios.
    reading_error : number or (S,)
        K that the thermometer shows above the truth.
    stop : number or (S,)
        Kilograms distilled when distilling stops; everything that was distilled if left out.

    Raises
    ------
    InputError
        for a stop that is not above zero or beyond what comes over in every scenario, or a shape that does not fit.
    """
    many = distillation.as_many()
    mass, count = many.distilled_mass, len(many.distilled)
    error, total = np.asarray(reading_error, dtype=np.float64), mass[:, -1]
    limit = total if stop is None else np.asarray(stop, dtype=np.float64)
    faults = [
        Fault(str(value), f"one number, or one for each of {count} scenarios", column=name)
        for name, value in (("reading_error", error), ("stop", limit))
        if value.shape not in ((), (count,)) or not np.all(np.isfinite(value))
    ]
    if not faults and (np.any(limit <= 0.0) or np.all(limit > total * (1.0 + 1e-6))):
        faults.append(
            Fault(f"{limit.max():g} kg", f"above 0 and at most the {total.max():g} kg distilled", column="stop")
        )
    if faults:
        raise InputError(faults)
    return Collected(
        mass=mass,
        amounts=many.distillate_amounts * many.molar_mass,
        rate=many.distillate_w,
        head=many.head_temperature + error.reshape(-1, 1),
        charge=many.charge * many.molar_mass,
        end=np.minimum(total, limit),
    )


def _rank(rising: Array, wanted: Array) -> Index:
    """How many of each row of ``rising`` (S, K), all in 0 to 1, lie below ``wanted`` (S, G): one search for all rows."""
    offset = GAP * np.arange(len(rising))[:, None]
    flat = np.searchsorted((rising + offset).ravel(), (wanted + offset).ravel(), side="left")
    return np.asarray(flat.reshape(wanted.shape) - rising.shape[1] * np.arange(len(rising))[:, None], dtype=np.intp)


def _apart(rising: Array, gap: float) -> Array:
    """Rising numbers without those closer than ``gap`` to the one before; first and last stay."""
    keep = np.diff(rising, prepend=-np.inf) > gap
    keep[-1] = True
    return rising[keep]
