"""`fractionkit stock` check, backup, export, import: keeping the logbook safe."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs, deliver
from fractionkit.cli.stock.options import StockOption, opened_for_reading


def check(json: JsonOption = None, stock: StockOption = None) -> None:
    """Prove that the file is whole and mass was neither made nor lost. Exit code 1: it does not add up."""
    check_outputs(json)
    from fractionkit.cli.stock.page import show_proof
    from fractionkit.files import json_text
    from fractionkit.report import stock_document

    with opened_for_reading(stock) as book:
        proof = book.prove()
    deliver(proof, show_proof, (json, lambda found: json_text(stock_document.proof(found))))
    if not proof.holds:
        raise typer.Exit(1)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file; nothing is written over.")],
    stock: StockOption = None,
) -> None:
    """Copy the logbook to a new file, whole or not at all, and verify the copy."""
    with opened_for_reading(stock) as book:
        made = book.backup(file)
    typer.echo(f"backup: {made.path}, {made.entries} entries, {made.rows} rows, {made.size} bytes")
    typer.echo(f"verified: file whole, same rows, same content (SHA-256 {made.sha256[:16]}…)")


def export(
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="A new folder for CSV tables, or a file NAME.json.")],
    stock: StockOption = None,
) -> None:
    """Write everything as CSV tables in a folder, or as one JSON file."""
    from fractionkit.errors import Fault, InputError
    from fractionkit.stock import exchange

    with opened_for_reading(stock) as book:
        if target.suffix.lower() != ".json":
            exchange.export_csv(book.ledger, target)
        elif os.path.exists(target):
            raise InputError(Fault(str(target), "a new file; nothing is written over"))
        else:
            exchange.export_json(book.ledger, target)
    typer.echo(f"written: {target}")


def import_(
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="The folder or JSON file of an export.")],
    stock: StockOption = None,
) -> None:
    """Make a new logbook from an export; it is checked to be as it was written."""
    from fractionkit.stock import default_path, exchange

    path = stock or default_path()
    ledger = exchange.import_from(source, path)
    typer.echo(f"new logbook: {path}, {len(ledger.entries)} entries")
