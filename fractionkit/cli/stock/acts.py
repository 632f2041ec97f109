"""`fractionkit stock` enter, receive, fill, pour, lot, use, sell, dispose, weigh, note, undo: each is one entry."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.options import quantity
from fractionkit.cli.stock.options import (
    AtOption,
    DayOption,
    MassOption,
    NameOption,
    Place,
    RemarkOption,
    RetestOption,
    StabiliserOption,
    StockOption,
    TitleOption,
    grams_text,
    holds,
    kilograms,
    notes_of,
    opened_for_writing,
    parts,
    told,
)


def enter(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of the run, or its run.toml.")],
    bottles: Annotated[
        list[str] | None,
        typer.Option(
            "--from", metavar="BOTTLE", help='A bottle that went into the charge, B3 or "B3=200 g"; repeat it.'
        ),
    ] = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Assess a run and book it: charge, cuts, residue, loss."""
    charge = parts("--from", bottles or [])
    from fractionkit.assessment import assess
    from fractionkit.sheets import load_run

    assessment = assess(load_run(run))
    with opened_for_writing(stock, create=True) as book:
        batch = book.enter(assessment, charge, day, remark)
        told(book, f"{batch.name}, {batch.title}")
        from fractionkit.cli.stock.tables import show_run

        show_run(book, batch.name)


def revise(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of the run, or its run.toml.")],
    name: Annotated[
        str | None, typer.Option("--run", help="Which run it is, R7; the one of this sheet if not told.")
    ] = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Assess a run anew and take over what is in its cuts, wherever they are by now; masses stay as booked."""
    from fractionkit.assessment import assess
    from fractionkit.sheets import load_run

    assessment = assess(load_run(run))
    with opened_for_writing(stock) as book:
        batch = book.revise(assessment, name, day, remark)
        told(book, f"{batch.name} revised, {len(book.ledger.entries[-1].revisions)} materials")


def receive(
    mass: Annotated[str, typer.Argument(metavar="MASS", help='What the content weighs, like "500 g".')],
    what: Annotated[
        list[str],
        typer.Option("--holds", metavar="SHARE", help='"chloroform = 99.2 ± 0.4 wt%"; one may be "= rest"; repeat it.'),
    ],
    name: NameOption = None,
    title: TitleOption = "",
    at: AtOption = None,
    stabiliser: StabiliserOption = None,
    retest: RetestOption = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Book a bottle that comes from outside: bought, given, or there before the logbook was."""
    weighed = quantity("MASS", mass, "mass").value
    known = holds("--holds", what)
    with opened_for_writing(stock, create=True) as book:
        bottle = book.receive(weighed, known, name, title, notes_of(at, stabiliser, retest), day, remark)
        told(book, f"{mass} received in {bottle.name}")


def fill(
    source: Annotated[str, typer.Argument(metavar="CUT", help="What is filled: a cut, bottle or lot.")],
    mass: MassOption = None,
    name: NameOption = None,
    title: TitleOption = "",
    at: AtOption = None,
    stabiliser: StabiliserOption = None,
    retest: RetestOption = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Fill a new bottle from a cut."""
    amount = kilograms("--mass", mass)
    with opened_for_writing(stock) as book:
        bottle = book.fill(source, amount, name, title, notes_of(at, stabiliser, retest), day, remark)
        poured = book.ledger.entries[-1].movements[0]
        told(book, f"{grams_text(poured.mass)} from {book.ledger.places[poured.source].name} into {bottle.name}")


def pour(
    source: Annotated[str, typer.Argument(metavar="FROM", help="What is poured.")],
    target: Annotated[str, typer.Argument(metavar="TO", help="What it is poured into.")],
    mass: MassOption = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Pour from one bottle into another that is there already."""
    amount = kilograms("--mass", mass)
    with opened_for_writing(stock) as book:
        poured = book.pour(source, target, amount, day, remark)
        moved = book.ledger.entries[-1].movements[0]
        names = [book.ledger.places[place].name for place in (moved.source, moved.target)]
        told(book, f"{grams_text(poured)} from {names[0]} into {names[1]}")


def lot(
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="Number of the lot.")],
    sources: Annotated[list[str], typer.Argument(metavar="PART...", help='Cuts and bottles: B1, or "B1=200 g".')],
    title: TitleOption = "",
    at: AtOption = None,
    stabiliser: StabiliserOption = None,
    retest: RetestOption = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Put cuts and bottles together to one lot."""
    chosen = parts("PART", sources)
    from fractionkit.errors import Fault, InputError
    from fractionkit.figures.labels import plain
    from fractionkit.report.words import counted
    from fractionkit.stock.text import key

    with opened_for_writing(stock) as book:
        if key(number) in map(key, book.names):
            expected = f"the name of the new lot first, like L1 {plain(number)} ...; {plain(number)} is there already"
            raise InputError(Fault(number, expected, column="NUMBER"))
        made = book.combine(number, chosen, title, notes_of(at, stabiliser, retest), None, day, remark)
        total = sum(movement.mass for movement in book.ledger.entries[-1].movements)
        told(book, f"lot {made.name}, {grams_text(total)} of {counted(len(chosen), 'part')}")


def use(
    name: Place, mass: MassOption = None, day: DayOption = None, remark: RemarkOption = "", stock: StockOption = None
) -> None:
    """Book what was used."""
    _take(name, mass, "use", None, day, remark, stock)


def sell(
    name: Place,
    to: Annotated[str | None, typer.Option("--to", help="Who has it now.")] = None,
    mass: MassOption = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Book what was sold or handed on."""
    _take(name, mass, "sell", to, day, remark, stock)


def dispose(
    name: Place, mass: MassOption = None, day: DayOption = None, remark: RemarkOption = "", stock: StockOption = None
) -> None:
    """Book what went to waste."""
    _take(name, mass, "dispose", None, day, remark, stock)


def _take(
    name: str, mass: str | None, way: str, to: str | None, day: str | None, remark: str, stock: Path | None
) -> None:
    amount = kilograms("--mass", mass)
    with opened_for_writing(stock) as book:
        taken = book.take(name, amount, way, to, day, remark)
        moved = book.ledger.entries[-1].movements[0]
        source, target = (book.ledger.places[place] for place in (moved.source, moved.target))
        left = book.holding(source.name).mass
        told(book, f"{grams_text(taken)} of {source.name} to {target.name}; {1000 * left:.1f} g left")


def weigh(
    name: Place,
    mass: Annotated[str, typer.Argument(metavar="MASS", help='What the balance shows, like "512.3 g".')],
    tare: Annotated[
        str | None, typer.Option("--tare", help="Mass of the empty bottle, if it was on the balance.")
    ] = None,
    day: DayOption = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Weigh again: what is missing is booked as evaporated, what is too much as found."""
    shown = quantity("MASS", mass, "mass")
    empty = kilograms("--tare", tare) or 0.0
    with opened_for_writing(stock) as book:
        change = book.weigh(name, shown.value - empty, shown.u, day, remark)
        held = book.holding(name)
        words = (
            "as booked" if not change else f"{grams_text(abs(change))} {'less' if change < 0 else 'more'} than booked"
        )
        told(book, f"{held.name} holds {1000 * held.mass:.1f} g, {words}")


def note(
    name: Place,
    density: Annotated[str | None, typer.Option("--density", help='Density read, "1.4820 ± 0.0005 g/mL".')] = None,
    temperature: Annotated[str | None, typer.Option("--temperature", help="of the density reading.")] = None,
    test: Annotated[
        list[str] | None, typer.Option("--test", metavar="RESULT", help='"water = 0.008 ± 0.002 wt%"; repeat it.')
    ] = None,
    method: Annotated[str, typer.Option("--method", help="How it was read or tested.")] = "",
    opened: Annotated[str | None, typer.Option("--opened", metavar="DATE", help="The bottle was opened.")] = None,
    at: AtOption = None,
    stabiliser: StabiliserOption = None,
    retest: RetestOption = None,
    text: Annotated[str | None, typer.Option("--text", help="Anything else.")] = None,
    day: DayOption = None,
    stock: StockOption = None,
) -> None:
    """Note of a bottle what was read, tested, dated, or where it stands."""
    from fractionkit.cli.stock.notes import readings_of
    from fractionkit.errors import Fault, InputError

    notes = notes_of(at, stabiliser, retest, opened)
    notes += readings_of(density, temperature, test or [], method, text)
    if not notes:
        raise InputError(
            Fault(None, "something to note: --density, --test, --opened, --at, --stabiliser, --retest or --text")
        )
    with opened_for_writing(stock) as book:
        place = book.note(name, notes, day)
        told(book, f"{place.name}: {', '.join(f'{noted.attribute} {noted.value}' for noted in notes)}")


def undo(
    number: Annotated[
        int | None, typer.Argument(metavar="ENTRY", help="Number of the entry (stock log); the last one if not told.")
    ] = None,
    remark: RemarkOption = "",
    stock: StockOption = None,
) -> None:
    """Undo an entry by a counter-entry; nothing is ever deleted. Undoing the undoing brings the entry back."""
    with opened_for_writing(stock) as book:
        undone = book.ledger.entries[book.undo(number, remark) - 1].booking
        told(book, f"entry {undone.id} undone ({undone.act}, {undone.day})")
