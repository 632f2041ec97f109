"""The assessment on a terminal: the table of cuts, then the answer and what must be known beside it.

No markup is ever read from what a user typed: every text is set in as `rich.text.Text` without control characters.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fractionkit.assessment.model import Assessment
from fractionkit.cli import terminal
from fractionkit.cli.terminal import heading, line, styled
from fractionkit.figures.labels import DECISIONS, name_list, plain, short_names, shorten
from fractionkit.quantities import UNKNOWN, Estimate, format_mass, format_probability, format_typed
from fractionkit.report import words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

MOST_ROWS = 60
"""Beyond this many cuts only the first and the last are listed; JSON and report hold all."""

_MOST_REMARKS = 10
_STYLES = {"keep": "bold green", "recycle": "blue", "redistil": "yellow", "waste": "dim"}
_OUTCOMES = {True: "bold green", False: "bold red", None: "bold"}
_LONGEST_NAME, _SHORTEST_NAME = 16, 5
_LONGEST_LABEL, _SHORTEST_LABEL = 22, 6
_GAP = 2  # between columns
_STACKED = "wt% (95 % interval)"
_MASS = "mass, g"


@dataclass(frozen=True)
class _Cells:
    """The texts of one cut; ``chance`` is None where there is no target."""

    name: str
    mass: str
    head: str
    parts: tuple[str, ...]
    chance: str | None
    decision: str


@dataclass(frozen=True)
class _Plan:
    """What the table of cuts looks like in the width there is: columns beside each other or components stacked.

    ``narrow``: the two head temperatures of a cut stand below each other too, and the mass has a short heading.
    """

    side_by_side: bool
    head: bool
    narrow: bool
    name: int
    labels: tuple[str, ...]


def show(assessment: Assessment, console: Console | None = None) -> None:
    """Print the table of cuts and the findings below it.

    Parameters
    ----------
    assessment : Assessment
        The assessed run.
    console : rich.console.Console, optional
        Where to print; standard output by default. Nothing printed is wider than it.

    """
    if console is None:
        console = terminal.console()
    _title(console, assessment)
    console.print(cut_table(assessment, console.width))
    if len(assessment.cuts) > MOST_ROWS:
        hidden = len(assessment.cuts) - MOST_ROWS
        line(console, "", f"{hidden} cuts in the middle are not listed here; --json and --report hold all.")
    _answer(console, assessment)
    _rest(console, assessment)


def cut_table(assessment: Assessment, width: int) -> Table:
    """Build the table of cuts, no wider than ``width`` columns.

    Each component has a column of its own where its whole name has room, otherwise the components stand below each other;
    on a very narrow terminal the head temperatures go first. Without any there is no column for them.
    """
    rows = [None if place is None else _cells(assessment, place) for place in _listed(len(assessment.cuts))]
    plan = _plan(assessment, [row for row in rows if row is not None], width)
    table = terminal.table()
    table.add_column("cut", max_width=plan.name, overflow="fold")
    table.add_column("g" if plan.narrow else _MASS, justify="right", no_wrap=True)
    if plan.head:
        table.add_column("head, °C", justify="right", no_wrap=True)
    for label in plan.labels if plan.side_by_side else (_STACKED,):
        table.add_column(styled(label), justify="right" if plan.side_by_side else "left", overflow="fold")
    if assessment.target is not None:
        table.add_column("P, %", justify="right", no_wrap=True)
    table.add_column("decision", no_wrap=True)
    for row in rows:
        table.add_row(*(["…"] if row is None else _set(row, plan)))
    return table


def _listed(count: int) -> list[int | None]:
    """Places of the cuts to list; None marks a gap."""
    if count <= MOST_ROWS:
        return list(range(count))
    half = MOST_ROWS // 2
    return [*range(half), None, *range(count - half, count)]


def _cells(assessment: Assessment, place: int) -> _Cells:
    cut, readings = assessment.cuts[place], assessment.readings
    return _Cells(
        name=shorten(cut.name, 2 * _LONGEST_NAME) + ("*" if cut.flags else ""),
        mass=format_mass(cut.mass, unit=False),
        head=words.head_range(float(readings.head_start[place]), float(readings.head_end[place])),
        parts=tuple(words.wt_percent(cut.composition.get(name), unit=False) for name in assessment.components),
        chance=format_probability(cut.probability_meets_target).removesuffix(" %") if assessment.target else None,
        decision=words.decision(assessment, cut),
    )


def _plan(assessment: Assessment, rows: list[_Cells], width: int) -> _Plan:
    """Choose the layout from the widest text of each column."""
    from rich.cells import cell_len

    def widest(texts: Iterable[str], heading: str) -> int:
        return max([cell_len(heading), *map(cell_len, texts)])

    name = min(widest((row.name for row in rows), "cut"), _LONGEST_NAME)
    read = any(row.head != UNKNOWN for row in rows)
    head = widest((row.head for row in rows), "head, °C") + _GAP if read else 0
    parts = widest((text for row in rows for text in row.parts), "")
    mass, rest = _MASS, widest((row.decision for row in rows), "decision") + 3 * _GAP
    if assessment.target is not None:
        rest += widest((row.chance or "" for row in rows), "P, %") + _GAP
    rest += widest((row.mass for row in rows), mass)
    count = len(assessment.components)
    wanted = min(max(map(cell_len, assessment.components)), _LONGEST_LABEL)
    if name + head + rest + count * max(parts, wanted) + (count - 1) * _GAP <= width:
        return _Plan(True, read, False, name, short_names(assessment.components, _LONGEST_LABEL))
    narrow = width - rest - head - parts - 1 - name < wanted
    if narrow:
        rest += widest((row.mass for row in rows), "g") - widest((row.mass for row in rows), mass)
        head = widest((text for row in rows for text in _stacked(row.head)), "head, °C") + _GAP
    with_head = read and width - rest - head - parts - 1 - _SHORTEST_LABEL >= min(name, _SHORTEST_NAME)
    room = width - rest - (head if with_head else 0) - parts - 1
    name = max(min(name, room - _SHORTEST_LABEL), 3)
    label = min(max(room - name, _SHORTEST_LABEL), _LONGEST_LABEL)
    return _Plan(False, with_head, narrow, name, short_names(assessment.components, label))


def _stacked(head: str) -> list[str]:
    """The two head temperatures of a cut on a line each."""
    first, _, last = head.partition("–")
    return [f"{first}–", last] if first and last else [head]


def _set(row: _Cells, plan: _Plan) -> list[Text]:
    cells = [styled(row.name), styled(row.mass)]
    if plan.head:
        cells.append(styled("\n".join(_stacked(row.head)), flat=False) if plan.narrow else styled(row.head))
    if plan.side_by_side:
        cells += [styled(part) for part in row.parts]
    else:
        long = max(map(len, plan.labels))
        lines = [f"{label:<{long}} {part}" for label, part in zip(plan.labels, row.parts, strict=True)]
        cells.append(styled("\n".join(lines), flat=False))
    if row.chance is not None:
        cells.append(styled(row.chance))
    return [*cells, styled(row.decision, _STYLES.get(row.decision, ""))]


def _title(console: Console, assessment: Assessment) -> None:
    unit = "wt% with 95 % intervals"
    chance = ""
    if assessment.target is not None and assessment.purity is not None:
        wanted = f"{format_typed(assessment.purity)} {assessment.target}"
        chance = f"; P: probability that the cut alone holds at least {wanted}"
    below = f"{unit} at {words.pressure(assessment)}{chance}"
    heading(console, assessment.title, assessment.date, "Untitled run", below)
    console.print()


def _answer(console: Console, assessment: Assessment) -> None:
    console.print()
    line(console, "lot", words.headline(assessment), _OUTCOMES[words.meets(assessment)])
    line(console, "", words.verdict(assessment))
    lot = assessment.lot
    if lot is not None:
        for place, told in enumerate(lot.label):
            line(console, "label" if place == 0 else "", words.sentence(told))
        if lot.not_tested:
            line(console, "not tested", ", ".join(map(plain, lot.not_tested)))
    for decision in DECISIONS[1:]:
        for portion in assessment.portions:
            if portion.decision == decision:
                line(console, decision, _portion(portion.cuts, portion.mass, portion.composition, assessment))


def _portion(names: tuple[str, ...], mass: float, made: dict[str, Estimate], assessment: Assessment) -> str:
    mean = ", ".join(f"{plain(name)} {text}" for name, text in words.mean_composition(made, assessment.components))
    return f"{words.counted(len(names), 'cut')} ({name_list(names, 8)}), {format_mass(mass)}; on the whole {mean}"


def _rest(console: Console, assessment: Assessment) -> None:
    parts = [f"{name} {text}" for name, text in words.balance_rows(assessment.balance) if text != UNKNOWN]
    line(console, "balance", ", ".join(parts))
    line(console, "readings", words.agreement(assessment))
    for finding in assessment.findings:
        line(console, shorten(finding.instrument, 11), words.sentence(finding.text))
    for flag in assessment.flags:
        line(console, "!", words.sentence(flag.text), "bold yellow")
    remarks: dict[str, list[str]] = {}
    for cut in assessment.cuts:
        for flag in cut.flags:
            remarks.setdefault(flag.text, []).append(cut.name)
    for text, names in list(remarks.items())[:_MOST_REMARKS]:
        line(console, "*", f"{name_list(names, 8)}: {plain(text)}")
    if len(remarks) > _MOST_REMARKS:
        line(console, "*", f"{len(remarks) - _MOST_REMARKS} more remarks on cuts: see --report.")
    line(console, "cautions", words.cautions_told(assessment.cautions), "bold")
    for text in assessment.advice:
        line(console, "next", text)
