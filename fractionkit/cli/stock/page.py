"""One bottle, the yield, the entries and the proof on a terminal of 80 columns."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from fractionkit.cli.stock.tables import composition_lines
from fractionkit.cli.terminal import console, line, styled, table
from fractionkit.figures.labels import plain, shorten
from fractionkit.quantities import format_interval, format_mass, format_with_half_width
from fractionkit.report import words
from fractionkit.stock.alarms import of_holding
from fractionkit.stock.campaign import Campaign
from fractionkit.stock.proof import Proof
from fractionkit.stock.shelf import Holding

if TYPE_CHECKING:
    from rich.console import Console

    from fractionkit.stock import Stock

_KINDS = {"cut": "cut", "bottle": "bottle", "lot": "lot", "residue": "residue of the pot"}


def show_place(stock: Stock, held: Holding, day: str) -> None:
    """Everything of one place."""
    out = console()
    title = f", {plain(held.title)}" if held.title else ""
    out.print(styled(f"{held.name}, {_KINDS[held.kind]}{title}", "bold"))
    line(out, "mass", format_with_half_width(held.mass, held.mass_u or None, "mass") if held.mass else "empty")
    for place, text in enumerate(composition_lines(held, everything=True) if held.mass else []):
        line(out, "wt%" if place == 0 else "", text, flat=False)
    for label, said in (
        ("run", held.run),
        ("judged", held.decision),
        ("filled", held.condition.filled),
        ("opened", held.opened),
        ("stands at", held.stands_at),
        ("stabiliser", _stabiliser(held)),
        ("retest by", held.retest_by),
        ("lost", f"{100 * held.lost:.2g} % by weighing" if held.lost else None),
    ):
        if said:
            line(out, label, said)
    _lot_paper(stock, held, out)
    for alarm in of_holding(held, day) if held.mass else ():
        line(out, "!", f"{alarm.name} {alarm.text}", "bold yellow")
    _readings(held, out)
    _history(stock, held, out)


def _stabiliser(held: Holding) -> str:
    if held.stabiliser is None:
        return "none known"
    part = held.condition.stabilised
    return held.stabiliser if part > 0.9995 else f"{held.stabiliser}, that came with {100 * part:.1f} % of it"


def _lot_paper(stock: Stock, held: Holding, out: Console) -> None:
    """The label as it was written when the lot was made."""
    for paper in stock.ledger.papers(held.place)[-1:]:
        for place, text in enumerate(json.loads(paper.document).get("label", [])):
            line(out, "label" if place == 0 else "", str(text))


def _readings(held: Holding, out: Console) -> None:
    if not held.readings:
        return
    out.print()
    made = table(("entry", "right"), ("day", "left"), ("what", "left"), ("result", "left"), ("method", "left"))
    for reading in held.readings:
        made.add_row(
            styled(str(reading.booking)),
            styled(reading.day),
            styled(shorten(reading.attribute, 20)),
            styled(shorten(reading.value, 300)),
            styled(shorten(reading.method, 60)),
        )
    out.print(made)


def _history(stock: Stock, held: Holding, out: Console) -> None:
    out.print()
    made = table(("entry", "right"), ("day", "left"), ("what", "left"), ("from or to", "left"), ("g", "right"))
    for step in stock.history(held.place):
        change = f"{1e3 * step.change:+.1f}"
        made.add_row(
            styled(str(step.entry)), styled(step.day), styled(step.act), styled(shorten(step.other, 40)), styled(change)
        )
    out.print(made)


def show_campaign(found: Campaign) -> None:
    """Each run in a row, then all together."""
    out = console()
    if not found.runs:
        out.print(styled("No run is in the logbook."))
        return
    made = table(
        ("run", "left"),
        ("day", "left"),
        ("fresh, g", "right"),
        ("again, g", "right"),
        ("keep, g", "right"),
        ("other cuts", "right"),
        ("residue", "right"),
        ("loss", "right"),
    )
    for run in found.runs:
        keep = run.cuts.get("keep", 0.0)
        masses = (run.fresh, run.recycled, keep, sum(run.cuts.values()) - keep, run.residue, run.loss)
        cells = [styled(format_mass(mass, unit=False)) for mass in masses]
        made.add_row(styled(run.run), styled(run.day or ""), *cells)
    out.print(made)
    out.print()
    came = "fresh charge" if not found.before else "charge"
    line(out, "fresh", f"{format_mass(found.fresh)} charged from outside")
    if found.before:
        line(out, "before", f"{format_mass(found.before)} charged out of other runs' cuts")
    if found.recycled:
        line(out, "again", f"{format_mass(found.recycled)} distilled again, counted once below")
    line(out, "kept", f"{format_mass(found.kept)}, {100 * found.kept_share:.1f} % of the {came}", "bold")
    parts = f"lots {format_mass(found.in_lots)}, used or sold {format_mass(found.left)}"
    line(out, "", f"{parts}, to keep but in no lot yet {format_mass(found.to_keep)}")
    for name, made_of in found.shares.items():
        text = format_interval(made_of.estimate, made_of.low, made_of.high, "probability")
        line(out, "", f"it holds {text} of the {name} charged")
    line(out, "standing", f"{format_mass(found.standing)} to recycle, redistil or dispose of")
    if found.later:
        line(out, "later", f"{format_mass(found.later)} distilled again in other runs")
    line(out, "waste", format_mass(found.waste))
    line(out, "loss", format_mass(found.loss))
    if found.found:
        line(out, "found", f"{format_mass(found.found)} more than booked, by weighing")


def show_log(stock: Stock, last: int) -> None:
    """The last entries; those undone are marked."""
    ledger = stock.ledger
    made = table(
        ("entry", "right"), ("day", "left"), ("what", "left"), ("of", "left"), ("g", "right"), ("remark", "left")
    )
    for entry in ledger.entries[-last:]:
        booking = entry.booking
        masses = sum(m.mass for m in entry.movements if ledger.places[m.source].kind != "run")
        ends = dict.fromkeys(ledger.places[place].name for m in entry.movements for place in (m.source, m.target))
        named = [batch.name for batch in entry.batches] or list(ends)
        named = named or list(dict.fromkeys(ledger.origins[r.origin].name.partition("/")[0] for r in entry.revisions))
        named = named or list(dict.fromkeys(ledger.places[reading.place].name for reading in entry.readings))
        act = booking.act if booking.undoes is None else f"undone: {booking.undoes}"
        marked = f" (undone by {ledger.undone[booking.id]})" if booking.id in ledger.undone else ""
        made.add_row(
            styled(str(booking.id)),
            styled(booking.day),
            styled(act + marked, "dim" if marked else ""),
            styled(" → ".join(shorten(name, 20) for name in named[:2]) + (" …" if len(named) > 2 else "")),
            styled(format_mass(masses / 1e9, unit=False) if masses else ""),
            styled(shorten(booking.note, 80)),
        )
    console().print(made)


def show_proof(proof: Proof) -> None:
    """Each thing compared, then each component."""
    out = console()
    for finding in proof.findings:
        mark, style = ("holds", "") if finding.holds else ("BROKEN", "bold red")
        line(out, mark, f"{finding.what}: {finding.detail}", style)
    if proof.components:
        out.print()
        figures = ("came in, g", "stands, g", "left, g", "restated, g")
        made = table(("component", "left"), *((heading, "right") for heading in figures), ("", "left"))
        for part in proof.components:
            settled = abs(part.restated.high - part.restated.low) < 1e-6  # kg
            shown = "0" if settled else words.grams_interval(part.restated, unit=False)
            made.add_row(
                styled(part.component),
                *(styled(format_mass(mass, unit=False)) for mass in (part.came, part.stands, part.left)),
                styled(shown),
                styled("holds" if part.holds else "BROKEN", "" if part.holds else "bold red"),
            )
        out.print(made)
        out.print(styled("restated: what assessing a run made of the charge more than was thought to go in", "dim"))
    out.print(
        styled(
            "Everything adds up." if proof.holds else "The logbook does not add up.",
            "bold" if proof.holds else "bold red",
        )
    )
