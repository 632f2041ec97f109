"""One corrected reading: options read into SI, the table of its steps at the terminal, the same as JSON."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from fractionkit.cli.outputs import deliver
from fractionkit.cli.terminal import WIDEST, console
from fractionkit.files import json_text
from fractionkit.quantities import COVERAGE_95, Quantity, decimals_of, format_with_half_width, from_si, unit_factor
from fractionkit.readings import Correction, Measured

SCHEMA = "fractionkit/reading/1"
# Unit of a correction as the readings room writes it -> (kind of the difference, unit shown, kind of its unit).
SHOWN_UNITS = {
    "Pa": ("pressure_difference", "kPa"),
    "K": ("temperature_difference", "K"),
    "kg/m3": ("density_difference", "g/mL"),
    "": ("number", ""),
}


def combined(measured: Measured) -> tuple[float, float]:
    """Value and standard uncertainty of the one reading in ``measured``: what repeats and what is fresh together."""
    parts = [float(term[0]) for term in measured.shared.values()]
    return float(measured.value[0]), math.hypot(float(measured.repeat[0]), *parts)


def budget(measured: Measured, kind: str, unit: str) -> tuple[tuple[str, str], ...]:
    """What the ± is made of, one row an error: ("thermometer, in every reading", "± 1.2 K")."""
    rows = [(f"{name}, in every reading", abs(float(term[0]))) for name, term in measured.shared.items()]
    rows.append(("fresh in each reading", float(measured.repeat[0])))
    size = unit_factor(unit, kind)
    return tuple((label, f"± {COVERAGE_95 * u / size:.2g} {unit}".rstrip()) for label, u in rows if u > 0)


@dataclass(frozen=True)
class Result:
    """What one correction found.

    quantity : name of the result. kind, unit : as in the quantities room. value, u : SI value and standard
    uncertainty, None when nothing is known of it. shown : (label, text) of everything the instrument showed and the
    chemist typed. corrections, warnings : from the readings room. errors : (label, text) what the uncertainty is made
    of. also : (label, text) worth knowing beside it. source : of the result itself. decimals : shown where nothing is
    known of the uncertainty: as many as the reading was typed with. finest : no more decimals than these are shown.
    """

    reading: str
    quantity: str
    kind: str
    unit: str
    value: float
    u: float | None
    shown: tuple[tuple[str, str], ...]
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()
    errors: tuple[tuple[str, str], ...] = ()
    also: tuple[tuple[str, str], ...] = ()
    source: str = ""
    decimals: int = 2
    finest: int | None = None

    @property
    def text(self) -> str:
        """The result as printed: to the digits of its uncertainty, else of the reading."""
        if self.u is None:
            return f"{from_si(self.value, self.kind, self.unit):.{self.decimals}f} {self.unit}".rstrip()
        return to_uncertainty(self.value, self.u, self.kind, self.unit, self.finest)


def to_uncertainty(value: float, u: float, kind: str, unit: str, finest: int | None = None) -> str:
    """A value (SI) with its 95 % half-width, to two figures of that, but to no more than ``finest`` decimals."""
    half = COVERAGE_95 * u / unit_factor(unit, kind)
    if finest is None or decimals_of(half) <= finest or half < 0.5 * 10.0**-finest:
        return format_with_half_width(value, u, kind, unit)
    return f"{from_si(value, kind, unit):.{finest}f} ± {half:.{finest}f} {unit}".rstrip()


def decimals_typed(text: str) -> int:
    """Decimals of the first number in what a person typed; a decimal comma counts as a point."""
    found = re.search(r"\d[.,](\d+)", text)
    return len(found.group(1)) if found else 0


def value_of(quantity: Quantity | None) -> float | None:
    """SI value, None when there is no quantity."""
    return None if quantity is None else quantity.value


def u_of(quantity: Quantity | None) -> float | None:
    """SI standard uncertainty, None when there is no quantity or no ± was written."""
    return None if quantity is None else quantity.u


def tell(result: Result, json_file: str | None) -> None:
    """Write the JSON, then print the table unless the JSON went to standard output."""
    deliver(result, show, (json_file, as_json))


def typed(*entries: tuple[str, str | None]) -> tuple[tuple[str, str], ...]:
    """The entries that were given, as they were typed."""
    return tuple((label, text) for label, text in entries if text is not None)


def as_json(result: Result) -> str:
    """JSON of a result, schema ``fractionkit/reading/1``: bench units, intervals 95 %."""
    value = from_si(result.value, result.kind, result.unit)
    half = None if result.u is None else COVERAGE_95 * result.u / unit_factor(result.unit, result.kind)
    told: dict[str, Any] = {
        "schema": SCHEMA,
        "reading": result.reading,
        "shown": dict(result.shown),
        "corrections": [
            {
                "what": step.what,
                "change": step.change,
                "half_width": COVERAGE_95 * step.u,
                "unit": step.unit,
                "source": step.source,
            }
            for step in result.corrections
        ],
        "result": {
            "quantity": result.quantity,
            "estimate": value,
            "low": None if half is None else value - half,
            "high": None if half is None else value + half,
            "unit": result.unit,
            "source": result.source,
        },
        "errors": dict(result.errors),
        "also": dict(result.also),
        "warnings": list(result.warnings),
    }
    return json_text(told)


def change_text(step: Correction) -> str:
    """A correction with its sign and 95 % half-width in the bench's unit: "-7.66 ± 0.12 kPa"."""
    kind, unit = SHOWN_UNITS.get(step.unit, ("number", ""))
    if step.u > 0:
        text = format_with_half_width(step.change, step.u, kind, unit)
    else:
        text = f"{step.change / unit_factor(unit, kind):.2g} {unit}".rstrip()
    if step.unit not in SHOWN_UNITS:
        text = f"{text} {step.unit}"
    return text if text.startswith("-") else f"+{text}"


def show(result: Result) -> None:
    """Print the steps from what the instrument showed to the result."""
    from rich.table import Table
    from rich.text import Text

    out = console(WIDEST)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), expand=True)
    table.add_column("step", ratio=3, overflow="fold")
    table.add_column("value ± 95 %", justify="right", no_wrap=True)
    table.add_column("source", ratio=3, overflow="fold")
    for label, text in result.shown:
        table.add_row(Text(label), Text(text), Text("as typed", style="dim"))
    for step in result.corrections:
        table.add_row(Text(step.what), Text(change_text(step)), Text(step.source, style="dim"))
    table.add_row(
        Text(result.quantity, style="bold"), Text(result.text, style="bold"), Text(result.source, style="dim")
    )
    for label, text in result.errors:
        table.add_row(Text(f"  of it {label}", style="dim"), Text(text, style="dim"), Text(""))
    for label, text in result.also:
        table.add_row(Text(label), Text(text), Text(""))
    out.print(table)
    for warning in result.warnings:
        out.print()
        out.print(Text("Warning: ", style="bold") + Text(warning))
