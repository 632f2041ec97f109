"""From drawing instructions to one SVG text: deterministic, without outside addresses, safe to set into a page."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK = "#1c2a33"
FAINT = "#64737c"
GRID = "#dfe5e8"
FONT = "system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', Arial, sans-serif"

_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text: searchable, readable aloud, a tenth of the size
    "svg.hashsalt": "fractionkit",
    "text.parse_math": False,  # a "$" in the name of a cut is a dollar sign
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],  # ships with matplotlib, so that the layout is the same everywhere
    "font.size": 8.5,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "hatch.linewidth": 0.6,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "legend.frameon": False,
    "path.simplify": True,
    "savefig.bbox": None,  # whatever the user's own matplotlibrc says
    "text.usetex": False,
}

_TAG = re.compile(r"<[^<>]*>")
_REFERENCE = re.compile(r'(\sid="|url\(#|xlink:href="#)')
_LONG_NUMBER = re.compile(r"(\d+\.\d{2})\d+")
_FAMILY = re.compile(r"font-family: ?[^;\"]*")


def picture(key: str, title: str, description: str, size: tuple[float, float], draw: Callable[[Figure], None]) -> str:
    """Run ``draw`` on an empty figure and return it as SVG.

    Parameters
    ----------
    key : str
        Short word, unique in the page; it prefixes every id in the picture.
    title, description : str
        What a screen reader says in place of the picture.
    size : tuple of float
        Width and height in inches of 72 units.
    draw : callable
        Fills the figure; runs with this module's style, which is put back afterwards.

    Returns
    -------
    str
        an ``<svg>`` element with its namespaces and nothing before it. The same input gives the same text.

    """
    import matplotlib
    from matplotlib.figure import Figure

    buffer = io.StringIO()
    with matplotlib.rc_context(_STYLE), warnings.catch_warnings():
        # The reader's own fonts draw the text, so a sign missing from the font used for the layout is no fault.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        figure = Figure(figsize=size)
        draw(figure)
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return _clean(buffer.getvalue(), key, title, description, size)


def _clean(raw: str, key: str, title: str, description: str, size: tuple[float, float]) -> str:
    """Drop prolog, metadata and global style; make ids unique to ``key``; shorten numbers and font lists."""
    body = raw[raw.index("<g id=") : raw.rindex("</svg>")]
    body = _TAG.sub(lambda match: _tidy_tag(match.group(), key), body)
    width, height = (f"{72 * side:g}" for side in size)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img" '
        f'aria-labelledby="{key}-title {key}-text" stroke-linejoin="round" stroke-linecap="butt">\n'
        f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-text">{escape(description)}</desc>\n'
        f"{body}</svg>"
    )


def _tidy_tag(tag: str, key: str) -> str:
    tag = _REFERENCE.sub(rf"\g<1>{key}-", tag)
    if tag.startswith("<text"):
        tag = _FAMILY.sub(f"font-family: {FONT}", tag)
    return _LONG_NUMBER.sub(r"\1", tag)
