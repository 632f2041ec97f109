"""A report as PDF, through WeasyPrint, which is an extra of this package: it is imported only when a PDF is asked for."""

from __future__ import annotations

import logging
from pathlib import Path

from fractionkit.errors import Fault, InputError
from fractionkit.files import write_bytes

_INSTALL = 'pip install "fractionkit[pdf]"'


class _Nothing:
    """Fetches nothing: a report holds its own style and pictures."""

    def fetch(self, url: str, headers: object = None) -> None:
        raise ValueError(f"a report fetches nothing: {url[:60]}")

    __call__ = fetch


def pdf_bytes(html: str) -> bytes:
    """Lay out a report for paper and return the PDF.

    Raises
    ------
    InputError
        if WeasyPrint, or the text library Pango that it needs, is not installed.
    """
    try:
        from weasyprint import HTML
    except ImportError:
        raise InputError(Fault(None, f"WeasyPrint for a PDF, which is not installed: {_INSTALL}")) from None
    except OSError as error:
        reason = " ".join(str(error).split())[:80]
        expected = f"the library Pango for a PDF, from the system's packages (WeasyPrint does not load: {reason})"
        raise InputError(Fault(None, expected)) from None
    # It tells every property of CSS that is for screens only; nothing that a user could mend.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    made = HTML(string=html, url_fetcher=_Nothing()).write_pdf()
    return bytes(made or b"")


def write_pdf(path: str | Path, html: str) -> None:
    """Write a report to ``path`` as PDF, in one step.

    Raises
    ------
    InputError
        as `pdf_bytes`, or if the file cannot be written.
    """
    write_bytes(Path(path), pdf_bytes(html))
