"""`fractionkit lot LOT.toml` or `fractionkit lot RUN ...`: cuts and bottles combined into lots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, ReportOption, check_outputs, write_outputs
from fractionkit.errors import Fault, InputError
from fractionkit.files import write_bytes

if TYPE_CHECKING:
    from fractionkit.release.model import Release
    from fractionkit.sheets.lot_model import LotSheet

DEFAULT_SIZE = "100x70"


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
    from fractionkit.release import make_lots

    release = make_lots(sheet, taken=_numbers(sheet) if book else ())
    if not release.lots:
        label = None  # nothing to put it on
    texts, papers = _rendered(release, json, report, label, size, pdf)  # before booking: a failure leaves no lot behind
    if book:
        _book(sheet, release)
    write_outputs(*((path, lambda text=text: text) for path, text in texts))
    for file, paper in papers:
        write_bytes(file, paper)
    if json != STANDARD_OUTPUT:
        from fractionkit.cli.lot_table import show

        show(release)
        for path in (json, report, pdf, label):
            if path is not None:
                typer.echo(f"written: {path}")
        if book:
            typer.echo(f"booked: {', '.join(lot.number for lot in release.lots) or 'nothing'}")


def _rendered(
    release: Release,
    json: str | None,
    report: Path | None,
    label: Path | None,
    size: str | None,
    pdf: Path | None,
) -> tuple[list[tuple[str | Path, str]], list[tuple[Path, bytes]]]:
    """Each text file that was asked for with its text, and each PDF with its bytes."""
    texts: list[tuple[str | Path, str]] = []
    papers: list[tuple[Path, bytes]] = []
    if json is not None:
        from fractionkit.report.lot_document import json_text

        texts.append((json, json_text(release)))
    if report is not None or pdf is not None:
        from fractionkit.report.lot_page import lot_html

        page = lot_html(release)
        if report is not None:
            texts.append((report, page))
        if pdf is not None:
            from fractionkit.report.pdf import pdf_bytes

            papers.append((pdf, pdf_bytes(page)))
    if label is not None:
        from fractionkit.report.lot_label import label_size, labels_html

        width, height = label_size(DEFAULT_SIZE if size is None else size)
        labels = labels_html(release, width=width, height=height)
        if _paper(label):
            from fractionkit.report.pdf import pdf_bytes

            papers.append((label, pdf_bytes(labels)))
        else:
            texts.append((label, labels))
    return texts, papers


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
