"""`fractionkit substance NAME`: constants with source and uncertainty, what other sources say, cautions."""

from __future__ import annotations

from typing import Annotated

import typer

from fractionkit.cli.outputs import JsonOption, check_outputs, deliver


def command(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="Name, usual synonym or CAS number; none: the catalogue.")
    ] = None,
    json: JsonOption = None,
    audit: Annotated[
        bool, typer.Option("--audit", help="Ask the thermo package for the other sources again (slower).")
    ] = False,
    listing: Annotated[bool, typer.Option("--list", help="List the catalogue, or what contains NAME.")] = False,
) -> None:
    """Show a substance's constants with their uncertainty, the spread between sources, and the cautions."""
    check_outputs(json)
    from fractionkit.cli.substance_record import catalogue_record, record
    from fractionkit.cli.tables.substance import show, show_catalogue
    from fractionkit.files import json_text
    from fractionkit.substances import catalogue, find, get

    if name is None or listing:
        entries = catalogue() if name is None else find(name) or (get(name),)
        deliver(entries, show_catalogue, (json, lambda found: json_text(catalogue_record(found))))
    else:
        deliver(get(name), lambda one: show(one, audit), (json, lambda one: json_text(record(one, audit))))
