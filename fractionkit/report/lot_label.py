"""The label of a lot's bottle: one small page, its letters as large as its words allow."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Any

from fractionkit.errors import Fault, InputError
from fractionkit.figures.label_qr import qr_svg
from fractionkit.figures.labels import plain, shorten
from fractionkit.release.model import MadeLot, Release
from fractionkit.report import lot_words, words
from fractionkit.report.templates import drawn, environment

TEMPLATE = "lot_label.html"
WIDTH, HEIGHT = 100.0, 70.0  # mm
_SMALLEST_SIDE, _LARGEST_SIDE = 40.0, 300.0
# Characters of a text that a person typed, and whether all is said or only what must be: the less, the less room there is.
_FITS = ((70, True), (35, True), (35, False), (16, False))
_MARGIN = 3.0  # mm
_SIZES = tuple(round(4.2 - 0.05 * step, 2) for step in range(55))  # mm, of the letters, down to 1.5
_SCALES = {"name": 1.85}
_BOLD = ("name", "strong", "refused")


def label_html(lot: MadeLot, *, width: float = WIDTH, height: float = HEIGHT) -> str:
    """Write the label of one lot.

    Everything that a person typed is escaped and shortened; hazard statements never are.

    Parameters
    ----------
    lot : MadeLot
        The lot.
    width, height : float
        Of the label, mm, 40 to 300.

    Returns
    -------
    str
        A whole HTML document whose page is the label.

    Raises
    ------
    InputError
        for a size that no label has.
    """
    return _render((lot,), width, height)


def labels_html(release: Release, *, width: float = WIDTH, height: float = HEIGHT) -> str:
    """Write the labels of all lots of a release, a page each; see `label_html`."""
    return _render(release.lots, width, height)


def label_size(text: str) -> tuple[float, float]:
    """Width and height in mm out of "100x70", as a person types it.

    Raises
    ------
    InputError
        for anything else.
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", text)
    if found is None:
        raise InputError(Fault(text, "the width and height of a label in mm, like 100x70"))
    width, height = float(found[1]), float(found[2])
    _check(width, height)
    return width, height


def _check(width: float, height: float) -> None:
    if not all(_SMALLEST_SIDE <= side <= _LARGEST_SIDE for side in (width, height)):
        expected = f"a label whose sides are {_SMALLEST_SIDE:g} to {_LARGEST_SIDE:g} mm long"
        raise InputError(Fault(f"{width:g} x {height:g} mm", expected))


def _render(lots: tuple[MadeLot, ...], width: float, height: float) -> str:
    _check(width, height)
    side = min(0.22 * width, 0.34 * height)
    shown = [_label(lot, width, height, side) for lot in lots]
    return (
        environment()
        .get_template(TEMPLATE)
        .render(
            labels=[{**one, "code": drawn(qr_svg(one["id"], f"Lot {one['id']}"))} for one in shown],
            title=", ".join(str(one["number"]) for one in shown) or "No lot",
            width=f"{width:g}",
            height=f"{height:g}",
            code_side=f"{side:.1f}",
            margin=f"{_MARGIN:g}",
        )
    )


def _label(lot: MadeLot, width: float, height: float, side: float) -> dict[str, Any]:
    """One label: what stands on it, and the size of its letters."""
    hazards = lot_words.hazards(lot)
    signal = lot_words.signal_word(one.code for one in hazards)
    said = f"{signal} " + "; ".join(f"{one.code} {one.words} ({one.component})" for one in hazards)
    number = shorten(lot.number, 40) or "–"
    for longest, everything in _FITS:
        lines = _lines(lot, longest, everything)
        paragraphs = [*((text, _SCALES.get(kind, 1.0), kind in _BOLD) for kind, text in lines), (said, 1.03, False)]
        sizes = (size for size in _SIZES if _needed(paragraphs, number, size, width, side) <= height - 2 * _MARGIN)
        size = next(sizes, 0.0)
        if size > 0.0:
            break
    else:
        expected = f"a larger label: the words of {number} would be smaller than {_SIZES[-1]:g} mm"
        raise InputError(Fault(f"{width:g} x {height:g} mm", expected))
    return {
        "id": plain(lot.number) or "–",
        "number": number,
        "lines": lines[:-1],
        "last": lines[-1][1],
        "hazards": hazards,
        "signal": signal,
        "size": f"{size:.2f}",
    }


def _lines(lot: MadeLot, longest: int, everything: bool) -> list[tuple[str, str]]:
    """Kind and words of each paragraph but the hazard statements, which stand before the last."""
    retest = shorten(lot.stabiliser.retest_by or "", 20)
    facts = [lot_words.mass(lot), f"made {shorten(lot.date, 20)}" if plain(lot.date) else ""]
    facts.append(f"test again by {retest}" if retest else "")
    claims = [shorten(words.sentence(one), 80 + longest) for one in lot.label if not one.startswith(lot.target)]
    grades = "; ".join(shorten(grade.title, longest) for grade in lot_words.claimed(lot)[:3])
    untested = lot_words.usual_not_tested(lot)
    if not everything:
        claims, grades, untested = claims[:1], "", []
    return [
        ("name", words.sentence(lot.target)),
        ("strong", "Reclaimed material, recovered by distillation"),
        *([] if lot.meets_target else [("refused", f"Does not meet {lot_words.wanted(lot)}")]),
        *(("strong" if place == 0 else "claim", text) for place, text in enumerate(claims[:4])),
        *([("claim", f"Grade claimed: {grades}")] if grades else []),
        ("claim", " · ".join(fact for fact in facts if fact)),
        ("claim", f"Stabiliser: {_stabiliser(lot, longest)}"),
        *([("claim", f"Not tested: {', '.join(untested)}")] if untested else []),
        ("claim", words.LOCAL_RULES if everything else "More in the lot report."),
    ]


def _stabiliser(lot: MadeLot, longest: int) -> str:
    kept = lot.stabiliser
    if not kept.added:
        return "none: removed by distilling, not added again"
    added = f"{shorten(kept.added, longest)} added again"
    return added + (f" {shorten(kept.added_on, 20)}" if kept.added_on else "")


def _needed(paragraphs: list[tuple[str, float, bool]], number: str, size: float, width: float, side: float) -> float:
    """Height in mm that the paragraphs take with letters of ``size`` mm; beside the code there is less room.

    Letters are taken as wide as in the widest of the usual fonts.
    """
    whole = width - 2 * _MARGIN
    number_lines = math.ceil(size * sum(map(_letter, number)) / side)
    code_end = side + 1.0 + 1.4 * size + number_lines * size
    at = 0.0
    for text, scale, bold in paragraphs:
        em = (1.16 if bold else 1.03) * scale * size
        line = 1.2 * scale * size
        at += 0.3 * size
        used = 0.0
        at += line
        for word in text.split():
            room = whole - side - 2.0 if at - line < code_end else whole
            long = em * (sum(map(_letter, word)) + _letter(" "))
            if used + long > room + em * _letter(" ") and used > 0.0:
                at += line
                used = 0.0
            if long > room + em and at - line < code_end:  # what is too long to stand beside the code goes below it
                at, room = code_end + line, whole
            while used + long > room + em:  # one word longer than the line is broken
                at += line
                long -= room - em
            used += long
    return at + size  # rules above and below the hazard statements


def _letter(sign: str) -> float:
    """Width of a letter as a part of its size: those of DejaVu Sans, the widest of the usual fonts, in four classes."""
    if sign in "WM@%mw—" or unicodedata.east_asian_width(sign) in "WF":
        return 1.02
    if sign in " .,;:'|!()[]ijlftr-":
        return 0.38
    return 0.74 if sign.isupper() else 0.615
