"""The templates of the reports: everything is escaped, and a name that is not given is an error."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fractionkit.assessment.model import Caution
from fractionkit.figures.labels import plain
from fractionkit.report.words import LOCAL_RULES, by_substance, sentence

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


def page(
    template: str,
    *,
    filters: Mapping[str, Callable[..., Any]] | None = None,
    cautions: Iterable[Caution] = (),
    **context: Any,
) -> str:
    """A whole HTML document made of a template of this folder, with what every page has: cautions and the version."""
    from fractionkit import __version__

    made = environment()
    made.filters.update(filters or {})
    return made.get_template(template).render(
        cautions=by_substance(cautions), local_rules=LOCAL_RULES, version=__version__, **context
    )


def drawn(svg: str) -> Markup:
    """A picture of ours, whose texts are escaped where they are drawn."""
    from markupsafe import Markup

    return Markup(svg)


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
