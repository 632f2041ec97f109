"""`fractionkit lot LOT.toml` or `fractionkit lot RUN ...`: cuts and bottles combined into lots."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import JsonOption, ReportOption, Target, check_outputs, deliver
from fractionkit.errors import Fault, InputError

if TYPE_CHECKING:
    from fractionkit.release.model import Release
    from fractionkit.sheets.lot_model import LotSheet

DEFAULT_SIZE = "100x70"

Output = tuple[Target, "Callable[[Release], str | bytes]"]


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
        Path | None, typer.Option("--label", metavar="FILE.html|.pdf", help="Write the label of each bottle, to print.")
    ] = None,
    size: Annotated[
        str | None,
        typer.Option("--label-size", metavar="WxH", help=f"Of the label, in mm; {DEFAULT_SIZE} if not told."),
    ] = None,
    book: Annotated[bool, typer.Option("--book", help="Book the lots in the stock.")] = False,
    stock: Annotated[
        Path | None,
        typer.Option("--stock", metavar="FILE", help="The stock; else the one that the sheet names, else your own."),
    ] = None,
) -> None:
    """Combine cuts so that most is kept, say what each lot may be called, and what the rest would need.

    Exit code 1: the readings of a run are at odds, so that no lot can be made; 2: a sheet is wrong.
    """
    check_outputs(json, report, pdf, label)
    if report is not None and _paper(report):
        raise InputError(Fault(str(report), "a file .html; --pdf writes the report as PDF"))
    sheet = _sheet(what, stock)
    from fractionkit.cli.tables.lot import show
    from fractionkit.release import make_lots
    from fractionkit.report.lot_document import json_text

    def tell(release: Release) -> None:
        show(release)
        if book:
            typer.echo(f"booked: {', '.join(lot.number for lot in release.lots) or 'nothing'}")

    release = make_lots(sheet, taken=_numbers(sheet) if book else ())
    outputs = [(json, json_text), *_pages(report, pdf), *(_labels(label, size) if release.lots else ())]
    # a failure of an output leaves no lot behind in the stock
    deliver(release, tell, *outputs, between=(lambda: _book(sheet, release)) if book else None)


def _pages(report: Path | None, pdf: Path | None) -> Iterator[Output]:
    """The report, on the screen and on paper."""
    from fractionkit.report.lot_page import lot_html
    from fractionkit.report.pdf import pdf_bytes

    yield report, lot_html
    yield pdf, lambda release: pdf_bytes(lot_html(release))


def _labels(label: Path | None, size: str | None) -> Iterator[Output]:
    """The labels, laid out for paper where the file is to be a PDF."""
    from fractionkit.report.lot_label import label_size, labels_html
    from fractionkit.report.pdf import pdf_bytes

    def page(release: Release) -> str:
        width, height = label_size(DEFAULT_SIZE if size is None else size)
        return labels_html(release, width=width, height=height)

    yield label, (lambda release: pdf_bytes(page(release))) if label is not None and _paper(label) else page


def _paper(path: Path) -> bool:
    """Whether a file of this name is expected to be a PDF."""
    return path.suffix.lower() == ".pdf"


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
