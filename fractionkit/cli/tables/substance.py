"""Tables of `fractionkit substance` at the terminal, at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fractionkit.cli.substance_record import PROPERTIES, ROOM, ZERO_CELSIUS, Comparison, comparisons
from fractionkit.quantities import COVERAGE_95, decimals_of, format_with_half_width
from fractionkit.substances import Substance, cited
from fractionkit.substances.cautions import EVERY_CHARGE, KINDS, Caution, cautions, headline

WIDEST = 100


def _console() -> Console:
    console = Console(highlight=False, markup=False, emoji=False)
    console.width = min(console.width, WIDEST)
    return console


def _table(*columns: tuple[str, str], title: str) -> Table:
    """A plain table; each column is (heading, "left", "right", "fixed" or "wide")."""
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading, kind in columns:
        if kind == "right":
            table.add_column(heading, justify="right", no_wrap=True)
        elif kind == "wide":
            table.add_column(heading, ratio=1, overflow="fold")
        else:
            table.add_column(heading, no_wrap=kind == "fixed", overflow="fold")
    table.expand = True
    return table


def _origin(source: str, status: str) -> Text:
    return Text(cited(source, status), style="dim")


def _plus_minus(value: float, u: float, unit: str) -> str:
    """A number with its 95 % half-width in the same unit."""
    half = COVERAGE_95 * u
    decimals = decimals_of(half)
    return f"{value:.{decimals}f} ± {half:.{decimals}f} {unit}".rstrip()


def _constants(substance: Substance) -> Table:
    table = _table(("constant", "left"), ("value ± 95 %", "left"), ("source", "wide"), title="Constants")
    mass, boiling, heat = substance.molar_mass, substance.boiling_point, substance.heat_of_vaporization
    pressure, density, index = substance.vapour_pressure, substance.density, substance.refractive_index
    table.add_row("molar mass", f"{mass.value * 1e3:.3f} g/mol", _origin(mass.source, mass.status))
    told = format_with_half_width(boiling.value, boiling.u, "temperature", "°C")
    table.add_row("boiling point, 101.325 kPa", told, _origin(boiling.source, boiling.status))
    low, high = pressure.t_min - ZERO_CELSIUS, pressure.t_max - ZERO_CELSIUS
    antoine = f"A {pressure.A:g}\nB {pressure.B:g}\nC {pressure.C:g}\n{low:.0f} to {high:.0f} °C"
    table.add_row("log10(p/Pa) = A - B/(T/K + C)", antoine, _origin(pressure.source, pressure.status))
    table.add_row("  error of p, 95 %", f"{100 * COVERAGE_95 * pressure.u_ln:.2g} %", "")
    told = format_with_half_width(float(density.at(ROOM)), float(density.u_at(ROOM)), "density", "g/mL")
    table.add_row("density, 20 °C", told, _origin(density.source, density.status))
    slope = (density.slope + 2 * density.curvature * (ROOM - density.t_ref)) * 1e-3
    table.add_row("  per kelvin", f"{slope:+.5f} g/mL", "")
    if index is not None:
        told = _plus_minus(float(index.at(ROOM)), float(index.u_at(ROOM)), "")
        table.add_row("refractive index nD, 20 °C", told, _origin(index.source, index.status))
        table.add_row("  per kelvin", f"{index.slope:+.5f}", "")
    told = _plus_minus(heat.value * 1e-3, heat.u * 1e-3, "kJ/mol")
    table.add_row("heat of vaporization", told, _origin(heat.source, heat.status))
    return table


def _figure(value: float, name: str, signed: bool = False) -> str:
    _, unit, _, _, decimals = PROPERTIES[name]
    return f"{value:+z.{decimals}f}" if signed else f"{value:.{decimals}f} {unit}".rstrip()


def _spread(rows: tuple[Comparison, ...], audit: bool) -> Table:
    """Our value of each property, the lowest and the highest of the others, then each other source."""
    how = "computed now" if audit else "as stored"
    table = _table(
        ("property", "left"),
        ("value", "right"),
        ("less ours", "right"),
        ("", "fixed"),
        ("source", "wide"),
        title=f"Spread between sources ({how}; * = known to be off, see below)",
    )
    for name, temperature in sorted({(row.property, row.temperature or 0.0) for row in rows}, key=_block_order):
        block = [row for row in rows if row.property == name and (row.temperature or 0.0) == temperature]
        at = "" if block[0].temperature is None else f", {temperature:g} °C"
        values = [row.value for row in block]
        low, high = _figure(min(values), name), _figure(max(values), name)
        span = f"ours; others {low if low == high else f'{low.split()[0]} to {high}'}"
        table.add_row(PROPERTIES[name][0] + at, _figure(block[0].catalogue, name), "", "", Text(span, style="bold"))
        for row in block:
            difference = _figure(row.difference, name, signed=True)
            table.add_row("", _figure(row.value, name), difference, "*" if row.reason else "", Text(row.source))
    return table


def _block_order(block: tuple[str, float]) -> tuple[int, float]:
    return list(PROPERTIES).index(block[0]), block[1]


def _notes(console: Console, title: str, lines: list[str]) -> None:
    """Sentences under a heading, each indented with a dash."""
    if lines:
        console.print(Text(title, style="bold"))
        for line in lines:
            bullet = Table.grid(padding=(0, 1, 0, 0))
            bullet.add_row("-", Text(line))
            console.print(bullet)
        console.print()


def _known(line: Caution) -> str:
    return f"[{line.status}]" if line.source.startswith(line.status) else f"[{line.source}; {line.status}]"


def _cautions(name: str) -> Table:
    """All lines of one substance by kind; the line on local rules first."""
    table = _table(("kind", "fixed"), ("caution, its source and how it is known", "wide"), title="Cautions")
    first, *rest = cautions([name])
    last = ""
    for line in (first, *sorted(rest, key=lambda line: (KINDS.index(line.kind), line.substance == EVERY_CHARGE))):
        text = Text(line.text + " ")
        text.append_text(Text(_known(line), style="dim"))
        table.add_row("" if line.kind == last else line.kind, text)
        last = line.kind
    return table


def show(substance: Substance, audit: bool) -> None:
    """Print one substance: identity, constants, spread between sources, conflicts, cautions."""
    console = _console()
    console.print()
    console.print(Text(substance.name, style="bold"))
    console.print(f"{substance.formula}   CAS {substance.cas}   {substance.family}")
    if substance.synonyms:
        console.print(f"also: {', '.join(substance.synonyms)}")
    if substance.dissolved:
        console.print("Met as a solute: the constants of the liquid are extrapolated.")
    console.print(Padding(Text(headline(substance.name), style="bold"), (1, 0)))
    console.print(_constants(substance))
    console.print()
    rows = comparisons(substance, audit)
    console.print(_spread(rows, audit))
    console.print()
    off = list(dict.fromkeys(f"{row.source}: {row.reason}" for row in rows if row.reason))
    _notes(console, "Known to be off", off)
    _notes(console, "Sources that disagree", list(substance.conflicts))
    console.print(_cautions(substance.name))


def show_catalogue(entries: Sequence[Substance]) -> None:
    """Print a list of substances: one line each."""
    console = _console()
    table = _table(
        ("substance", "left"),
        ("CAS", "fixed"),
        ("boils °C", "right"),
        ("g/mL", "right"),
        ("also called", "wide"),
        title="Catalogue: boiling point at 101.325 kPa, density at 20 °C",
    )
    for entry in entries:
        boiling = f"{entry.boiling_point.value - ZERO_CELSIUS:.1f}"
        density = f"{float(entry.density.at(ROOM)) * 1e-3:.3f}"
        table.add_row(entry.name, entry.cas, boiling, density, ", ".join(entry.synonyms[:2]))
    console.print(table)
    console.print("One substance with sources, spread and cautions: fractionkit substance NAME")
