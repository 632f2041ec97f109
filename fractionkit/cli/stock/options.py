"""What the commands of the shelf share: which logbook, when, how much; and what was entered, in a line."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.options import quantity
from fractionkit.errors import Fault, InputError
from fractionkit.stock.paths import VARIABLE

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity
    from fractionkit.stock import Stock
    from fractionkit.stock.acts import Noted
    from fractionkit.stock.composition import Known
    from fractionkit.stock.enter import Part

StockOption = Annotated[
    Path | None,
    typer.Option(
        "--stock",
        metavar="FILE",
        help=f"The logbook; else the file that {VARIABLE} names, else the one in your data folder.",
        show_default=False,
    ),
]
DayOption = Annotated[
    str | None, typer.Option("--day", metavar="DATE", help="When it happened, like 2026-05-09; today if not told.")
]
RemarkOption = Annotated[str, typer.Option("--remark", help="Anything worth remembering of this entry.")]
MassOption = Annotated[
    str | None, typer.Option("--mass", metavar="MASS", help='How much, like "120 g"; all of it if not told.')
]
NameOption = Annotated[
    str | None, typer.Option("--name", help="What the bottle is called; B1, B2 and so on if not told.")
]
TitleOption = Annotated[str, typer.Option("--title", help="What it says on it.")]
AtOption = Annotated[str | None, typer.Option("--at", help="Where it stands.")]
StabiliserOption = Annotated[
    str | None, typer.Option("--stabiliser", help='What it is stabilised with, like "0.8 wt% ethanol"; or "none".')
]
RetestOption = Annotated[str | None, typer.Option("--retest", metavar="DATE", help="To be tested again by this day.")]
Place = Annotated[str, typer.Argument(metavar="NAME", help="Bottle, cut or lot: B7, R2/C5, C5 where there is but one.")]


def kilograms(option: str, text: str | None) -> float | None:
    """A mass in kg, None where none was told."""
    return None if text is None else quantity(option, text, "mass").value


def parts(option: str, texts: list[str]) -> list[Part]:
    """Bottles with how much of each: "B3" or "B5=200 g"."""
    found: list[Part] = []
    for text in texts:
        name, sign, mass = text.rpartition("=")
        if not sign:
            found.append((text, None))
        elif mass.strip() == "all":
            found.append((name.strip(), None))
        else:
            found.append((name.strip(), quantity(option, mass, "mass").value))
    return found


def holds(option: str, texts: list[str]) -> Known:
    """A composition: "chloroform = 99.2 ± 0.4 wt%", "ethanol = rest"; one substance alone is all of it."""
    from fractionkit.stock.composition import typed
    from fractionkit.substances import canonical_name

    shares: dict[str, Quantity | None] = {}
    for text in texts:
        name, sign, share = text.partition("=")
        component = canonical_name(name.strip())
        if component in shares:
            raise InputError(Fault(text, f"each component once ({component})", column=option))
        rest = not sign or share.strip() == "rest"
        shares[component] = None if rest else quantity(option, share, "fraction")
    if not shares:
        raise InputError(Fault(None, 'what is in it, like --holds "chloroform = 99.2 ± 0.4 wt%"', column=option))
    return typed(shares, len(texts))


def notes_of(
    at: str | None = None, stabiliser: str | None = None, retest: str | None = None, opened: str | None = None
) -> list[Noted]:
    """Dates and words of a bottle."""
    from fractionkit.stock import acts

    said = ((acts.STANDS, at), (acts.STABILISER, stabiliser), (acts.RETEST, retest), (acts.OPENED, opened))
    return [acts.Noted(attribute, value) for attribute, value in said if value is not None]


def opened_for_writing(path: Path | None, *, create: bool = False) -> Stock:
    """The logbook; a new one is told."""
    from fractionkit.stock import default_path, open_stock

    found = path or default_path()
    new = create and not os.path.exists(found)
    stock = open_stock(found, create=create)
    if new:
        typer.echo(f"new logbook: {found}")
    return stock


def opened_for_reading(path: Path | None) -> Stock:
    """The logbook, which stays as it is."""
    from fractionkit.stock import open_stock

    return open_stock(path, write=False)


def told(stock: Stock, text: str) -> None:
    """Confirm an entry: its number and what it says."""
    from fractionkit.figures.labels import plain

    typer.echo(f"entry {len(stock.ledger.entries)}: {plain(text)}")


def grams_text(mass: int) -> str:
    """Micrograms as a person reads them, to a tenth of a gram or finer where that is needed."""
    from fractionkit.stock.draft import grams

    return grams(mass)
