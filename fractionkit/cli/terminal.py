"""Lines at a terminal that the commands share; no markup is ever read from what a person typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fractionkit.figures.labels import plain

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text


def line(console: Console, label: str, text: str, style: str = "") -> None:
    """One labelled line; what does not fit is wrapped under itself."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=11, no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row(styled(label, "dim" if label != "!" else style), styled(text, style))
    console.print(grid)


def styled(text: str, style: str = "", *, flat: bool = True) -> Text:
    """A text as it stands, on one line without control signs unless not ``flat``."""
    from rich.text import Text

    return Text(plain(text) if flat else text, style=style)
