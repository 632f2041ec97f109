"""Bottles as the next charge: the sections of run.toml and STILL.toml, ready to paste."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fractionkit.errors import Fault, InputError
from fractionkit.lots.material import Material, together
from fractionkit.quantities import format_with_half_width
from fractionkit.stock.composition import DRAWS, Composition, intervals
from fractionkit.stock.stock import Stock
from fractionkit.stock.text import shown

LEAST = 1e-4  # mass fraction below which a component of a charge is not worth a line: 0.01 wt%


@dataclass(frozen=True)
class Charge:
    """Bottles together: kg, components, mean and standard uncertainty of each mass fraction, intervals to show."""

    names: tuple[str, ...]
    mass: float
    mass_u: float
    components: tuple[str, ...]
    mean: tuple[float, ...]
    u: tuple[float, ...]
    composition: Composition
    stock: Path

    @property
    def rest(self) -> str:
        """The component that makes up the rest in a sheet: the one there is most of."""
        return self.components[int(np.argmax(self.mean))]


def to_recycle(stock: Stock) -> tuple[str, ...]:
    """Names of everything that is to be carried into the next charge.

    Raises
    ------
    InputError
        where there is nothing, or it is of runs for different components, which do not belong in one charge.
    """
    found: dict[str, list[str]] = {}
    for held in stock.holdings():
        if held.decision == "recycle":
            found.setdefault(", ".join(sorted(held.targets)), []).append(held.name)
    if len(found) == 1:
        return tuple(next(iter(found.values())))
    offer = "; ".join(f"for {target}: {', '.join(map(shown, names))}" for target, names in found.items())
    expected = f"the names of what is to go into the charge ({offer or 'nothing stands there to be recycled'})"
    raise InputError(Fault(None, expected, column="BOTTLE..."))


def charge_of(stock: Stock, names: Sequence[str]) -> Charge:
    """What these bottles are together.

    Raises
    ------
    InputError
        where one is unknown or empty.
    """
    materials = stock.materials(tuple(dict.fromkeys(names)))
    components = tuple(dict.fromkeys(name for material in materials for name in material.components))
    mass = np.array([material.mass for material in materials])
    draws = np.einsum("m,dmn->dn", mass / mass.sum(), _draws(materials, components))
    return Charge(
        names=tuple(material.name for material in materials),
        mass=float(mass.sum()),
        mass_u=math.hypot(*(material.mass_u for material in materials)),
        components=components,
        mean=tuple(map(float, draws.mean(axis=0))),
        u=tuple(map(float, draws.std(axis=0))),
        composition=intervals(components, draws),
        stock=stock.path,
    )


def _draws(
    materials: tuple[Material, ...], components: tuple[str, ...]
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return together(materials, components, DRAWS)


def run_section(charge: Charge) -> str:
    """[charge] of run.toml; the component there is most of is left out, since it makes up the rest."""
    shares = _shares(charge, with_rest=False)
    lines = ["[charge]", f"# {_comment(charge)}", f"mass = {_quoted(_mass(charge))}"]
    if shares:
        lines.append(f"composition = {{ {', '.join(shares)} }}   # {shown(charge.rest)} is the rest")
    return "\n".join(lines) + "\n"


def still_section(charge: Charge) -> str:
    """[feed] of STILL.toml."""
    return (
        "\n".join(
            [
                "[feed]",
                f"# {_comment(charge)}",
                f"mass = {_quoted(_mass(charge))}",
                f"composition = {{ {', '.join(_shares(charge, with_rest=True))} }}",
                "# or, with all that the logbook knows of them, in place of mass and composition:",
                f"# bottles = [{', '.join(_quoted(name) for name in charge.names)}]",
                f"# stock = {_quoted(str(charge.stock))}",
            ]
        )
        + "\n"
    )


def _comment(charge: Charge) -> str:
    return f"{', '.join(shown(name) for name in charge.names)} from the shelf; ± are 95 % half-widths"


def _mass(charge: Charge) -> str:
    return format_with_half_width(charge.mass, charge.mass_u, "mass")


def _shares(charge: Charge, *, with_rest: bool) -> list[str]:
    """`"name" = "30.1 ± 0.8 wt%"` of every component worth a line, the largest as the rest."""
    found = []
    for name, mean, u in zip(charge.components, charge.mean, charge.u, strict=True):
        if name == charge.rest:
            if with_rest:
                found.append(f'{_quoted(name)} = "rest"')
        elif mean + 2 * u >= LEAST:
            share = format_with_half_width(mean, max(u, LEAST / 20), "fraction", "wt%")
            found.append(f"{_quoted(name)} = {_quoted(share)}")
    return found


def _quoted(text: str) -> str:
    """A TOML basic string; signs that are not printable are written as their numbers, lest they steer a terminal."""
    return '"' + "".join(map(_sign, text)) + '"'


def _sign(sign: str) -> str:
    if sign in '"\\':
        return "\\" + sign
    return sign if sign.isprintable() else f"\\U{ord(sign):08X}"
