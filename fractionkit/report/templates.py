"""The templates of the reports: everything is escaped, and a name that is not given is an error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fractionkit.figures.labels import plain
from fractionkit.report.words import sentence

if TYPE_CHECKING:
    from jinja2 import Environment


def environment() -> Environment:
    """Environment whose templates lie in this folder, with the filters ``plain`` for what a person typed and ``sentence``."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["plain"] = plain
    made.filters["sentence"] = sentence
    return made
