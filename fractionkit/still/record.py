"""Notes taken along the integration: each scenario's accepted steps, with points between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.still.column import Column
from fractionkit.still.equilibrium import Array, unit
from fractionkit.still.rosenbrock import Step, inside
from fractionkit.still.state import Flags, State

Index = NDArray[np.intp]


class Record:
    """Growing arrays, one row a point of each scenario; scenarios advance at their own steps, so rows are ragged.

    ``top`` (S,) is each scenario's highest working stage, 0 for the pot; its liquid, and that of the stage below, give
    the head temperature.
    """

    def __init__(self, column: Column, top: NDArray[np.int64], points: int) -> None:
        self._column, self._top, self._points = column, top, points
        self.count = np.zeros(len(top), dtype=np.int64)
        self._rows = {name: np.empty((0,)) for name in ("D", "u", "R")}
        self._each = np.arange(len(top))

    def follow(self, column: Column) -> None:
        """Take the reflux from this column's control from here on."""
        self._column = column

    def point(self, s: State, D: Array, keep: Flags, each: Index | None = None) -> None:
        """Note the state of the scenarios where ``keep`` (S,); ``each`` names them where they are not all there are."""
        values = {"D": D, "u": s.u.swapaxes(0, 1), "R": self._column.reflux(s)}
        which = np.flatnonzero(keep)
        scenario = which if each is None else each[which]
        row = self.count[scenario]
        need = int(row.max(initial=-1)) + 1
        for name, value in values.items():
            store = self._rows[name]
            if len(store) < need:
                grown = np.zeros((max(need, 2 * len(store), 64), len(self._top), *value.shape[1:]))
                grown[: len(store)] = store if len(store) else 0.0
                self._rows[name] = store = grown
            store[row, scenario] = value[which]
        self.count[scenario] += 1

    def step(self, step: Step, each: Index | None = None) -> None:
        """Note an accepted step and the points inside it."""
        for k in range(1, self._points):
            part = k / self._points
            self.point(inside(step.before, step.after, step.increments, part), step.D + part * step.h, step.good, each)
        self.point(step.after, step.D + step.h, step.good, each)

    def arrays(self) -> dict[str, Array]:
        """Return the notes as (S, K, ...), each scenario's last point repeated to the common length K.

        ``D`` distilled, ``m`` pot, ``held`` column and condenser, all in parts of the charge; ``distillate``, and
        ``upper``, liquid of the top stage; ``R`` reflux ratio.
        """
        length = int(self.count.max())
        row = np.minimum(np.arange(length)[:, None], self.count - 1)
        each = self._each
        # (K, S) and (N + 1, S, K, n)
        D, R = self._rows["D"][row, each], self._rows["R"][row, each]
        levels = self._rows["u"][row, each].transpose(2, 1, 0, 3)
        pot, stages, condenser = levels[0], levels[1:-1], levels[-1]
        liquid = np.concatenate([unit(pot)[None], stages])
        held = (self._column.holdup[:, :, None] * stages).sum(axis=0) + self._column.condenser[:, None] * condenser
        return {
            "D": D.T,
            "m": pot,
            "held": held,
            "distillate": condenser,
            "upper": liquid[self._top, each],
            "R": R.T,
        }
