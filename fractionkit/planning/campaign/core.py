"""Batches one after the other with cuts carried into the next charge: the balance alone, whatever divides a batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_BATCHES = 1000


@dataclass(frozen=True)
class Split:
    """What batches of G policies and S scenarios were divided into.

    amounts : (G, S, C, n) kg of each component in the receivers; rest : (G, S, n) kg left in pot and column.
    kept : (G, C) whether a receiver is kept. meets : (G,) probability that what is kept meets the purity.
    time, heat : (G, S) s and J, NaN where unknown. note : (G,) in words how each was cut.
    """

    amounts: Array
    rest: Array
    kept: Flags
    meets: Array
    time: Array
    heat: Array
    note: tuple[str, ...] = ()


Divide = Callable[[Array], Split]
"""Distils charges (G, S, n) kg and divides them."""


Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Batches:
    """A campaign of B batches, for G policies of carrying and S scenarios; all masses in kg of each component.

    carried : (G,) how many cuts go into the next charge at most, whole numbers. fresh, charge, kept, waste, residue, recycle :
    (G, S, B, n): fresh feed; everything in the pot; kept; thrown away (cuts not carried); left in the pot and not
    carried; and what stands ready for the next charge after the batch. meets : (G, B) probability that what is kept
    meets the purity. time, heat : (G, S, B). cuts : (G, B) how many were carried, a whole
    number. notes : [B][G] how each was cut.
    """

    carried: Array
    fresh: Array
    charge: Array
    kept: Array
    waste: Array
    residue: Array
    recycle: Array
    meets: Array
    time: Array
    heat: Array
    cuts: Array
    notes: tuple[tuple[str, ...], ...]

    def imbalance(self) -> float:
        """Largest part of a component's feed that is in none of kept, waste, residue and recycle."""
        fed = self.fresh.sum(axis=2)
        out = (self.kept + self.waste + self.residue).sum(axis=2) + self.recycle[:, :, -1]
        return float((np.abs(out - fed) / np.maximum(self.fresh.sum(axis=(2, 3))[..., None], 1e-300)).max())


class Remembering:
    """A divider that distils a charge only where it is not, to ``alike`` parts of its mass, one that it has distilled.

    A charge so close to the last one distilled for its policy is divided in the same proportions of each component, so
    that a campaign that has settled costs nothing more, and what the search of the cuts leaves open does not make it
    jump. Masses stay exact.
    """

    def __init__(self, divide: Divide, alike: float = 2e-4) -> None:
        self._divide = divide
        self._alike = alike
        self._charge: Array | None = None
        self._last: Split | None = None

    def __call__(self, charge: Array) -> Split:
        """Divide charges (G, S, n) kg."""
        known, last = self._charge, self._last
        if known is None or last is None or known.shape != charge.shape:
            self._charge, self._last = charge, self._divide(charge)
            return self._last
        far = np.abs(charge - known).max(axis=-1) > self._alike * known.sum(axis=-1)
        new = np.flatnonzero(far.any(axis=1))
        if new.size:
            self._charge, self._last = _merged(known, charge, last, self._divide(charge[new]), new)
            known, last = self._charge, self._last
        ratio = np.where(known > 0.0, charge, 0.0) / np.where(known > 0.0, known, 1.0)
        amounts = last.amounts * ratio[:, :, None, :]
        return replace(last, amounts=amounts, rest=np.maximum(charge - amounts.sum(axis=2), 0.0))


def _merged(known: Array, charge: Array, last: Split, fresh: Split, new: NDArray[np.intp]) -> tuple[Array, Split]:
    """Charges and splits with those of the policies ``new`` put in."""
    charges = known.copy()
    charges[new] = charge[new]
    made = {}
    for name in ("amounts", "rest", "kept", "meets", "time", "heat"):
        values = getattr(last, name).copy()
        values[new] = getattr(fresh, name)
        made[name] = values
    note = list(last.note)
    for place, text in zip(new, fresh.note, strict=False):
        note[place] = text
    return charges, Split(**made, note=tuple(note))


def simulate(
    fresh: ArrayLike,
    divide: Divide,
    batches: int,
    carried: Sequence[int],
    component: int,
    *,
    limit: ArrayLike = np.inf,
    carry_residue: bool = False,
    progress: Progress | None = None,
) -> Batches:
    """Run a campaign, all policies and scenarios together.

    Parameters
    ----------
    fresh : (S, n)
        Kilograms of each component that a batch of fresh feed brings, the same every time.
    divide : Divide
        Distils a batch.
    batches : int
        1 or more.
    carried : sequence of int
        Policies: how many of the cuts that are not kept go into the next charge, those richest in ``component`` first;
        the others are thrown away.
    component : int
        The target.
    limit : number or (S,)
        Kilograms that the pot takes. What is carried goes in first; fresh feed fills up.
    carry_residue : bool
        Whether what stays in the pot stays for the next charge.
    progress : callable, optional
        Called with the batches done and the batches in all.

    Raises
    ------
    InputError
        for no batches, a negative number of cuts, feed or limit that is not above zero.
    """
    feed = np.asarray(fresh, dtype=np.float64)
    room = np.broadcast_to(np.asarray(limit, dtype=np.float64), feed.shape[:1])
    _check(feed, batches, carried, room)
    policies = np.asarray(carried, dtype=np.int64)
    G, (S, n) = len(policies), feed.shape
    stock = np.zeros((G, S, n))
    rows: list[dict[str, Array]] = []
    notes = []
    for number in range(batches):
        into = stock * np.minimum(1.0, room / np.maximum(stock.sum(axis=-1), 1e-300))[..., None]
        part = np.clip((room - into.sum(axis=-1)) / feed.sum(axis=-1), 0.0, 1.0)
        new = part[..., None] * feed
        split = divide(into + new)
        goes = _goes(split, policies, component)
        carry = (split.amounts * goes[:, None, :, None]).sum(axis=2)
        kept = (split.amounts * split.kept[:, None, :, None]).sum(axis=2)
        waste = split.amounts.sum(axis=2) - carry - kept
        left = np.zeros_like(split.rest) if carry_residue else split.rest
        stock = stock - into + carry + (split.rest if carry_residue else 0.0)
        rows.append(
            {
                "fresh": new,
                "charge": into + new,
                "kept": kept,
                "waste": np.maximum(waste, 0.0),
                "residue": left,
                "recycle": stock,
                "meets": split.meets,
                "time": split.time,
                "heat": split.heat,
                "cuts": goes.sum(axis=1).astype(np.float64),
            }
        )
        notes.append(split.note)
        if progress is not None:
            progress(number + 1, batches)
    made = {name: np.stack([row[name] for row in rows], axis=2) for name in rows[0] if name not in ("meets", "cuts")}
    flat = {name: np.stack([row[name] for row in rows], axis=1) for name in ("meets", "cuts")}
    return Batches(carried=policies.astype(np.float64), **made, **flat, notes=tuple(notes))


def _goes(split: Split, policies: NDArray[np.int64], component: int) -> Flags:
    """Which receivers (G, C) are carried: those not kept that hold most of the target, as many as the policy says."""
    mass = split.amounts.sum(axis=-1).mean(axis=1)
    held = split.amounts[..., component].mean(axis=1) / np.maximum(mass, 1e-300)
    held = np.where(split.kept | (mass <= 0.0), -1.0, held)
    place = np.argsort(np.argsort(-held, axis=1, kind="stable"), axis=1)
    return np.asarray((place < policies[:, None]) & (held >= 0.0))


def _check(feed: Array, batches: int, carried: Sequence[int], limit: Array) -> None:
    faults = []
    if feed.ndim != 2 or not np.all(np.isfinite(feed) & (feed >= 0.0)) or not np.all(feed.sum(axis=-1) > 0.0):
        faults.append(Fault(None, "a feed of more than 0 kg in every scenario", column="fresh"))
    if not 1 <= batches <= MOST_BATCHES:
        faults.append(Fault(str(batches), f"1 to {MOST_BATCHES} batches", column="batches"))
    if not len(carried) or any(cuts < 0 for cuts in carried):
        faults.append(Fault(str(list(carried)), "numbers of cuts to carry, 0 or more", column="carried"))
    if not np.all(limit > 0.0):
        faults.append(Fault(f"{np.min(limit):g} kg", "a pot that takes more than 0 kg", column="limit"))
    if faults:
        raise InputError(faults)
