"""What `distil` refuses, and its arguments brought to one scenario axis."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.still.equilibrium import Array, Equilibrium
from fractionkit.still.policy import Charge, RefluxPolicy, Steered, Stepped, reflux_faults

MOST_STAGES = 200

USUAL = 0.95
"""Part of what can come over that is distilled when nothing is said: a pot is not boiled dry."""


@dataclass(frozen=True)
class Setting:
    """Arguments of a distillation with a scenario axis: ``moles`` (S, n), the others (S,)."""

    moles: Array
    total: Array
    stages: Array
    top: NDArray[np.int64]
    pressure: Array
    distilled: Array
    column_holdup: Array
    condenser_holdup: Array
    single: bool

    def take(self, index: NDArray[np.int64]) -> Setting:
        """Return the scenarios ``index``."""
        arrays = {f.name: getattr(self, f.name)[index] for f in fields(self) if f.name != "single"}
        return Setting(**arrays, single=self.single)


def charge_moles(mixture: Equilibrium, charge: Charge | ArrayLike) -> tuple[Array, bool]:
    """Moles of the charge, (S, n), and whether it came without a scenario axis."""
    if isinstance(charge, Charge):
        moles = charge.moles(getattr(mixture, "molar_mass", None))
    else:
        moles = np.asarray(charge, dtype=np.float64)
    good = moles.ndim in (1, 2) and moles.shape[-1] > 0 and bool(np.all(np.isfinite(moles) & (moles >= 0.0)))
    if not good or not np.all(moles.sum(axis=-1) > 0.0):
        raise InputError(Fault(str(charge), "moles of 0 or more of each component, not all 0", column="charge"))
    n = getattr(mixture, "n", moles.shape[-1])
    if moles.shape[-1] != n:
        raise InputError(Fault(f"{moles.shape[-1]} components", f"{n}, as the mixture has", column="charge"))
    return np.atleast_2d(moles), moles.ndim == 1


def setting(
    moles: Array,
    stages: ArrayLike,
    policy: RefluxPolicy,
    pressure: ArrayLike,
    distilled: ArrayLike | None,
    column_holdup: ArrayLike,
    condenser_holdup: ArrayLike,
    *,
    single: bool,
) -> Setting:
    """Check the numbers, all faults at once, and broadcast them."""
    numbers = {
        "stages": np.asarray(stages, dtype=np.float64),
        "pressure": np.asarray(pressure, dtype=np.float64),
        "distilled": np.asarray(USUAL if distilled is None else distilled, dtype=np.float64),
        "column_holdup": np.asarray(column_holdup, dtype=np.float64),
        "condenser_holdup": np.asarray(condenser_holdup, dtype=np.float64),
    }
    expected = {
        "stages": f"1 to {MOST_STAGES} theoretical stages, the pot counted",
        "pressure": "a pressure above 0 Pa",
        "distilled": "a part of the charge above 0 and below 1",
        "column_holdup": "mol, 0 or more",
        "condenser_holdup": "mol, 0 or more",
    }
    allowed = {
        "stages": (numbers["stages"] >= 1.0) & (numbers["stages"] <= MOST_STAGES),
        "pressure": numbers["pressure"] > 0.0,
        "distilled": (numbers["distilled"] > 0.0) & (numbers["distilled"] < 1.0),
        "column_holdup": numbers["column_holdup"] >= 0.0,
        "condenser_holdup": numbers["condenser_holdup"] >= 0.0,
    }
    faults = [
        Fault(str(numbers[name]), expected[name], column=name)
        for name, good in allowed.items()
        if numbers[name].ndim > 1 or not np.all(np.isfinite(numbers[name]) & good)
    ]
    faults += reflux_faults(policy, moles.shape[-1])
    if faults:
        raise InputError(faults)
    ratio = np.zeros(()) if isinstance(policy, (Stepped, Steered)) else np.asarray(policy, dtype=np.float64)
    shapes = {"charge": moles[:, 0].shape if not single else (), "reflux_ratio": ratio.shape}
    shapes |= {name: value.shape for name, value in numbers.items()}
    lengths = {shape[0] for shape in shapes.values() if shape}
    if len(lengths - {1}) > 1:
        raise InputError(Fault(str(shapes), "one number, or one for each scenario"))
    S = max(lengths, default=1)
    wide = {name: np.broadcast_to(value, (S,)) for name, value in numbers.items()}
    amounts = np.broadcast_to(moles, (S, moles.shape[-1]))
    total = amounts.sum(axis=-1)
    # without stages above the pot there is no column to hold anything
    column = np.where(wide["stages"] > 1.0, wide["column_holdup"], 0.0)
    if distilled is None:
        wide["distilled"] = USUAL * np.maximum(1.0 - (column + wide["condenser_holdup"]) / total, 0.0)
    _holdup_faults(total, column, wide["condenser_holdup"], wide["distilled"])
    top = np.asarray(np.ceil(wide["stages"] - 1e-9) - 1, dtype=np.int64)
    return Setting(
        amounts, total, wide["stages"], top, wide["pressure"], wide["distilled"], column, wide["condenser_holdup"],
        single and not lengths,
    )  # fmt: skip


def _holdup_faults(total: Array, column: Array, condenser: Array, distilled: Array) -> None:
    held = column + condenser
    if np.any(held >= total):
        k = int(np.argmax(held - total))
        raise InputError(Fault(f"{held[k]:g} mol", f"less than the charge of {total[k]:g} mol", column="column_holdup"))
    room = 1.0 - held / total
    if np.any(distilled >= room):
        k = int(np.argmax(distilled - room))
        raise InputError(
            Fault(
                f"{distilled[k]:g}",
                f"less than {room[k]:g} of the charge, since column and condenser hold {held[k]:g} of {total[k]:g} mol",
                column="distilled",
            )
        )


def options(
    overflow: str,
    heats: Array | None,
    boilup: float | None,
    heater_power: float | None,
    tolerance: float,
    points: int,
    policy: RefluxPolicy,
) -> None:
    """Check the keyword options."""
    faults = []
    if overflow not in ("molar", "latent"):
        faults.append(Fault(str(overflow), '"molar" or "latent"', column="overflow"))
    if overflow == "latent" and heats is None:
        faults.append(Fault(None, "latent heats, J/mol, for flows that vary", column="latent_heats"))
    if heater_power is not None and heats is None:
        faults.append(Fault(None, "latent heats, J/mol, to turn power into boil-up", column="latent_heats"))
    if boilup is not None and heater_power is not None:
        faults.append(Fault("both", "boilup or heater_power, not both", column="boilup"))
    for name, number in (("boilup", boilup), ("heater_power", heater_power)):
        if number is not None and not (np.isfinite(number) and number > 0.0):
            faults.append(Fault(str(number), "a number above zero", column=name))
    if not 1e-12 <= tolerance <= 0.1:
        faults.append(Fault(str(tolerance), "a tolerance from 1e-12 to 0.1", column="tolerance"))
    if points < 1:
        faults.append(Fault(str(points), "1 or more points a step", column="points"))
    timed = isinstance(policy, Stepped) and policy.by == "time"
    if timed and boilup is None and not (heater_power is not None and overflow == "latent"):
        faults.append(
            Fault(None, 'a boilup, or heater_power with overflow="latent", for reflux by time', column="reflux_ratio")
        )
    if faults:
        raise InputError(faults)
