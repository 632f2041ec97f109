"""`fractionkit lot LOT.toml` or `fractionkit lot RUN ...`: cuts and bottles combined into lots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs
from fractionkit.errors import Fault, InputError

if TYPE_CHECKING:
    from fractionkit.release.model import Release
    from fractionkit.sheets.lot_model import LotSheet


def command(
    what: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOT.toml | RUN ...",
            help="The sheet of a lot; or runs, whose own sheets say what is wanted.",
            show_default=False,
        ),
    ],
    json: JsonOption = None,
    report: ReportOption = None,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", metavar="FILE.pdf", help="Write the report as PDF (extra 'pdf').")
    ] = None,
    label: Annotated[
        Path | None, typer.Option("--label", metavar="FILE.html", help="Write the label of each bottle, to print.")
    ] = None,
    book: Annotated[bool, typer.Option("--book", help="Book the lots in the stock.")] = False,
    stock: Annotated[
        Path | None,
        typer.Option("--stock", metavar="FILE", help="The stock; else the one that the sheet names, else your own."),
    ] = None,
) -> None:
    """Combine cuts so that most is kept, say what each lot may be called, and what the rest would need.

    Exit code 1: the readings of a run are at odds, so that nothing is booked; 2: a sheet is wrong.
    """
    check_outputs(json, report, pdf, label)
    sheet = _sheet(what, stock)
    from fractionkit.release import make_lots
    from fractionkit.release.make import at_odds

    release = make_lots(sheet, taken=_numbers(sheet) if book else ())
    html: list[str] = []  # the report and the PDF hold the same page

    def json_text() -> str:
        from fractionkit.report.lot_document import json_text

        return json_text(release)

    def page() -> str:
        from fractionkit.report.lot_page import lot_html

        if not html:
            html.append(lot_html(release))
        return html[0]

    def label_text() -> str:
        from fractionkit.report.lot_label import labels_html

        return labels_html(release)

    if book and at_odds(release) is None:
        _book(sheet, release)
    write_outputs((json, json_text), (report, page), (label, label_text))
    if pdf is not None:
        from fractionkit.report.pdf import write_pdf

        write_pdf(pdf, page())
    if json != STANDARD_OUTPUT:
        from fractionkit.cli.lot_table import show

        show(release)
        for path in (json, report, pdf, label):
            if path is not None:
                typer.echo(f"written: {path}")
        if book and at_odds(release) is None:
            typer.echo(f"booked: {', '.join(lot.number for lot in release.lots) or 'nothing'}")
    if at_odds(release) is not None:
        raise typer.Exit(1)


def _sheet(what: list[Path], stock: Path | None) -> LotSheet:
    """The sheet that was named, or the one that runs stand for."""
    from dataclasses import replace

    from fractionkit.release import sheet_of_runs
    from fractionkit.sheets.lot_file import load_lot, lot_file

    sheets = [path for path in what if lot_file(path) is not None]
    if sheets and len(what) > 1:
        raise InputError(Fault(str(sheets[0]), "one sheet of a lot, or runs only: runs stand in the sheet as [[run]]"))
    sheet = load_lot(what[0]) if sheets else sheet_of_runs(what)
    return sheet if stock is None else replace(sheet, stock=stock)


def _numbers(sheet: LotSheet) -> tuple[str, ...]:
    from fractionkit.stock import open_stock

    with open_stock(sheet.stock, write=False) as stock:
        return tuple(stock.names)


def _book(sheet: LotSheet, release: Release) -> None:
    """All lots in one entry, so that either all are booked or none."""
    from fractionkit.stock import open_stock
    from fractionkit.stock.lot import book_lot

    if not release.lots:
        return
    with open_stock(sheet.stock) as stock:
        stock.write("lot made", lambda draft: [book_lot(draft, lot) for lot in release.lots], release.lots[0].date)
