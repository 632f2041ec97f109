"""`fractionkit stock` list, show, from, to, yield, charge, alarms, log: questions; nothing is written."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fractionkit.cli.outputs import JsonOption, ReportOption, Target, check_outputs, deliver
from fractionkit.cli.stock.options import Place, StockOption, opened_for_reading
from fractionkit.files import json_text

if TYPE_CHECKING:
    from fractionkit.stock.lineage import Link


def shelf(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[WORD]...", help="Only what has all these words in its name, title, place, run or contents."
        ),
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Also what is empty by now.")] = False,
    json: JsonOption = None,
    report: ReportOption = None,
    stock: StockOption = None,
) -> None:
    """What stands on the shelf: how much, what is in it and how sure that is, what to look after."""
    check_outputs(json, report)
    from fractionkit.cli.stock import tables
    from fractionkit.report import stock_document
    from fractionkit.report.stock_page import stock_html
    from fractionkit.stock.shelf import today

    with opened_for_reading(stock) as book:
        held = [found for found in book.holdings(empty=everything) if found.speaks_of(words or ())]
        _tell(
            json,
            lambda: stock_document.shelf(held, today()),
            lambda: tables.show_shelf(held, today(), searched=bool(words)),
            (report, lambda _: stock_html(book, held, today())),
        )


def show(name: Place, json: JsonOption = None, stock: StockOption = None) -> None:
    """Everything of one bottle, cut or lot: composition, readings, what was done with it."""
    check_outputs(json)
    from fractionkit.cli.stock import page
    from fractionkit.report import stock_document
    from fractionkit.stock.shelf import today

    with opened_for_reading(stock) as book:
        held = book.holding(name)
        _tell(
            json,
            lambda: stock_document.place(book, held, today()),
            lambda: page.show_place(book, held, today()),
        )


def back(name: Place, json: JsonOption = None, stock: StockOption = None) -> None:
    """What is in this bottle: which cuts of which runs, and what those were charged with."""
    from fractionkit.stock import lineage

    _lineage(name, json, stock, "from", lineage.back)


def forth(name: Place, json: JsonOption = None, stock: StockOption = None) -> None:
    """Where this went: bottles, lots, customers, waste; through distilling again too."""
    from fractionkit.stock import lineage

    _lineage(name, json, stock, "to", lineage.forth)


def _lineage(
    name: str, json: str | None, stock: Any, direction: str, follow: Callable[[Any, int], tuple[Link, ...]]
) -> None:
    check_outputs(json)
    from fractionkit.cli.stock import tables
    from fractionkit.report import stock_document

    with opened_for_reading(stock) as book:
        held = book.holding(name)
        links = follow(book.ledger, held.place)
        _tell(
            json,
            lambda: stock_document.lineage(held, direction, links),
            lambda: tables.show_lineage(held, direction, links),
        )


def yields(
    runs: Annotated[
        list[str] | None, typer.Argument(metavar="[RUN]...", help="Runs of the campaign, like R3 R4; all if not told.")
    ] = None,
    json: JsonOption = None,
    stock: StockOption = None,
) -> None:
    """Yield of a campaign: charged, charged again, kept, standing, waste, lost."""
    check_outputs(json)
    from fractionkit.cli.stock import page
    from fractionkit.report import stock_document
    from fractionkit.stock.campaign import campaign

    with opened_for_reading(stock) as book:
        found = campaign(book.ledger, runs or ())
        _tell(json, lambda: stock_document.campaign(found), lambda: page.show_campaign(found))


def charge(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[BOTTLE]...", help="What makes up the next charge; all that is to be recycled if not told."
        ),
    ] = None,
    stock: StockOption = None,
) -> None:
    """Bottles as the next charge: [charge] for run.toml and [feed] for STILL.toml, ready to paste."""
    from fractionkit.figures.labels import plain
    from fractionkit.stock.alarms import of_holding
    from fractionkit.stock.charge import charge_of, run_section, still_section, to_recycle
    from fractionkit.stock.shelf import today

    with opened_for_reading(stock) as book:
        made = charge_of(book, names or to_recycle(book))
        alarms = [alarm for name in made.names for alarm in of_holding(book.holding(name), today())]
    typer.echo("# for run.toml")
    typer.echo(run_section(made))
    typer.echo("# for STILL.toml")
    typer.echo(still_section(made), nl=False)
    for alarm in alarms:
        typer.echo(f"# ! {plain(alarm.name)}: {alarm.word}")


def alarms(json: JsonOption = None, stock: StockOption = None) -> None:
    """Retest dates, lost stabiliser, evaporation."""
    check_outputs(json)
    from fractionkit.cli.stock import tables
    from fractionkit.report import stock_document
    from fractionkit.stock.alarms import alarms as found_in
    from fractionkit.stock.shelf import today

    with opened_for_reading(stock) as book:
        found = found_in(book.holdings(), today())
        _tell(json, lambda: stock_document.alarms(found, today()), lambda: tables.show_alarms(found))


def log(
    last: Annotated[int, typer.Option("--last", min=1, help="How many entries, from the end.")] = 20,
    stock: StockOption = None,
) -> None:
    """The entries with their numbers, as undo wants them."""
    from fractionkit.cli.stock import page

    with opened_for_reading(stock) as book:
        page.show_log(book, last)


def _tell(
    json: str | None,
    document: Callable[[], dict[str, Any]],
    table: Callable[[], None],
    *pages: tuple[Target, Callable[[None], str]],
) -> None:
    """Write the JSON and the pages where they are wanted, and the table unless one went to standard output."""
    deliver(None, lambda _: table(), (json, lambda _: json_text(document())), *pages)
