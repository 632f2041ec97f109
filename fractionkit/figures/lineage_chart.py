"""What is in a bottle and where that came from, as a tree from left to right, drawn as SVG without a library."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from fractionkit.figures.canvas import FAINT, FONT, INK
from fractionkit.figures.labels import MARKS, plain, shorten
from fractionkit.quantities import format_mass
from fractionkit.stock.lineage import Link

MOST = 60
"""Branches drawn; the thinnest are left out and counted."""

_WIDTH, _GAP, _ROW, _BOX, _TOP = 190, 56, 40, 32, 4
_FILLS = {"outside": "#FFFFFF", "run": "#EEF2F4"}
_LEAST = 2  # steps that there is room for at the least, so that the pictures of a page are of one scale
_BAND = MARKS["recycle"].colour


@dataclass
class _Box:
    name: str
    below: str
    kind: str
    share: float
    depth: int
    row: float
    parent: int | None


def lineage_chart(root: str, below: str, links: Sequence[Link], key: str) -> str:
    """Draw one place with what it is made of.

    Parameters
    ----------
    root, below
        Its name, and a line below that.
    links
        What is in it, as `fractionkit.stock.lineage.back` gives it.
    key
        Short word, unique in the page.

    Returns
    -------
    str
        an ``<svg>`` element; every text is escaped.

    """
    boxes, left_out = _boxes(root, below, links)
    rows = max(box.row for box in boxes) + 1 + bool(left_out)
    width = (max(_LEAST, *(box.depth for box in boxes)) + 1) * (_WIDTH + _GAP) - _GAP + 2
    height = rows * _ROW + _TOP
    drawn = [_band(boxes[box.parent], box) for box in boxes if box.parent is not None]
    drawn += [_rectangle(box) for box in boxes]
    if left_out:
        drawn.append(_text(2, height - 12, f"and {left_out} smaller ones, not drawn", FAINT))
    title = f"What {plain(root)} is made of"
    said = "; ".join(f"{box.name}, {box.below}" for box in boxes[1:])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} '
        f'{height:g}" role="img" aria-labelledby="{key}-title {key}-text" font-family="{FONT}" font-size="12">\n'
        f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-text">{escape(said)}</desc>\n'
        + "\n".join(drawn)
        + "\n</svg>"
    )


def _boxes(root: str, below: str, links: Sequence[Link]) -> tuple[list[_Box], int]:
    """All boxes with their places, parents before children; how many branches were left out."""
    boxes = [_Box(shorten(root, 24), below, "place", 1.0, 0, 0.0, None)]
    left_out = 0

    def lay(parent: int, made: Sequence[Link], depth: int, row: float) -> float:
        nonlocal left_out
        first = row
        for link in made:
            if len(boxes) > MOST:
                left_out += 1
                continue
            told = f"{format_mass(link.mass)}, {100 * link.share:.3g} %"
            boxes.append(_Box(shorten(link.name, 24), told, link.what, link.share, depth, row, parent))
            row = max(row + 1, lay(len(boxes) - 1, link.links, depth + 1, row))
        if row > first:  # a parent stands beside the middle of what it is made of
            boxes[parent].row = first + 0.5 * (row - first - 1)
        return row

    lay(0, links, 1, 0.0)
    return boxes, left_out


def _at(box: _Box) -> tuple[float, float]:
    return 1 + box.depth * (_WIDTH + _GAP), _TOP + box.row * _ROW


def _rectangle(box: _Box) -> str:
    x, y = _at(box)
    fill = _FILLS.get(box.kind, "#F6F8F9")
    dashes = ' stroke-dasharray="4 3"' if box.kind == "outside" else ""
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{_WIDTH}" height="{_BOX}" rx="4" fill="{fill}" stroke="{FAINT}"{dashes}/>'
        + _text(x + 8, y + 13.5, box.name, INK, "600")
        + _text(x + 8, y + 27, box.below, FAINT)
    )


def _band(parent: _Box, box: _Box) -> str:
    (x0, y0), (x1, y1) = _at(parent), _at(box)
    x0, y0, y1 = x0 + _WIDTH, y0 + _BOX / 2, y1 + _BOX / 2
    middle = 0.5 * (x0 + x1)
    thick = max(1.0, 14.0 * box.share)
    return (
        f'<path d="M{x0:g} {y0:g}C{middle:g} {y0:g} {middle:g} {y1:g} {x1:g} {y1:g}" fill="none" stroke="{_BAND}" '
        f'stroke-opacity="0.45" stroke-width="{thick:.1f}"/>'
    )


def _text(x: float, y: float, text: str, colour: str, weight: str = "400") -> str:
    return f'<text x="{x:g}" y="{y:g}" fill="{colour}" font-weight="{weight}">{escape(plain(text))}</text>'
