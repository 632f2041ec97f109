"""Tables and lines at a terminal that the commands share; no markup is ever read from what a person typed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

WIDEST = 100
"""Columns beyond which sentences are hard to read."""

Side = Literal["left", "right", "fixed"]


def console(widest: int | None = None) -> Console:
    """Standard output, texts as they are; no wider than ``widest`` columns."""
    from rich.console import Console

    made = Console(highlight=False, soft_wrap=False, markup=False, emoji=False)
    if widest is not None:
        made.width = min(made.width, widest)
    return made


def heading(out: Console, title: str, date: object, untitled: str, *below: str) -> None:
    """Title and date of what is told, then a dim line each of how to read it."""
    named = styled(title).plain or untitled
    out.print(styled(f"{named}, {date}" if date else named, "bold"))
    for text in below:
        out.print(styled(text, "dim"))


def table(*columns: tuple[str, Side]) -> Table:
    """An empty table in the house's style: a rule below the headings, no frame.

    Each column is its heading and where its cells stand: "left" (wrapped where they must be), "fixed" (left, not
    wrapped) or "right" (not wrapped).
    """
    from rich import box
    from rich.table import Table

    made = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for name, side in columns:
        made.add_column(
            styled(name), justify="right" if side == "right" else "left", no_wrap=side != "left", overflow="fold"
        )
    return made


def line(out: Console, label: str, text: str, style: str = "", *, flat: bool = True) -> None:
    """One labelled line; what does not fit is wrapped under itself. Without ``flat`` spaces stay as they are."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=11, no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row(styled(label, "dim" if label != "!" else style), styled(text, style, flat=flat))
    out.print(grid)


def styled(text: str, style: str = "", *, flat: bool = True) -> Text:
    """A text as it stands, on one line without control signs unless not ``flat``."""
    from rich.text import Text

    from fractionkit.figures.labels import plain

    return Text(plain(text) if flat else text, style=style)
