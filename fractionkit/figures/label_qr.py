"""The QR code of a label, as SVG to set into a page."""

from __future__ import annotations

import io

from fractionkit.figures.labels import plain

QUIET = 4  # modules of white about the code, as ISO/IEC 18004 asks for


def qr_svg(text: str, title: str) -> str:
    """Return ``text`` as a QR code: one ``<svg>`` element, sized by the page.

    Error correction level M (15 % of the code may be lost). The code is a path of whole modules, so that any printer's
    dots suffice.

    Parameters
    ----------
    text : str
        What a reader of the code shall see; any text of up to some 1,600 characters.
    title : str
        What a screen reader says in place of the picture.

    """
    import segno

    buffer = io.BytesIO()
    code = segno.make(plain(text) or "-", error="m", micro=False, boost_error=False)
    code.save(
        buffer, kind="svg", xmldecl=False, svgns=True, border=QUIET, omitsize=True, svgclass=None, lineclass=None,
        dark="#000", light="#fff", title=plain(title),
    )  # fmt: skip
    return (
        buffer.getvalue().decode("utf-8").strip().replace("<svg ", '<svg role="img" shape-rendering="crispEdges" ', 1)
    )
