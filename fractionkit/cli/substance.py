"""`fractionkit substance NAME`: constants with source and uncertainty, what other sources say, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fractionkit.cli.outputs import STANDARD_OUTPUT, JsonOption, check_outputs, write_outputs

if TYPE_CHECKING:
    from fractionkit.substances import Substance


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
    if name is None or listing:
        _catalogue(name, json)
        return
    from fractionkit.substances import get

    substance = get(name)
    write_outputs((json, lambda: _json_text(substance, audit)))
    if json != STANDARD_OUTPUT:
        from fractionkit.cli.substance_table import show

        show(substance, audit)
        _say_written(json)


def _catalogue(name: str | None, json: str | None) -> None:
    """List the catalogue, or what contains ``name``."""
    from fractionkit.substances import catalogue, find, get

    entries = catalogue() if name is None else find(name) or (get(name),)

    def text() -> str:
        from json import dumps

        from fractionkit.cli.substance_record import catalogue_record

        return dumps(catalogue_record(entries), ensure_ascii=False, indent=2)

    write_outputs((json, text))
    if json != STANDARD_OUTPUT:
        from fractionkit.cli.substance_table import show_catalogue

        show_catalogue(entries)
        _say_written(json)


def _json_text(substance: Substance, audit: bool) -> str:
    from json import dumps

    from fractionkit.cli.substance_record import record

    return dumps(record(substance, audit), ensure_ascii=False, indent=2)


def _say_written(json: str | None) -> None:
    if json is not None:
        typer.echo(f"written: {json}")
