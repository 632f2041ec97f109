"""The terminal table: never wider than the terminal, complete, and not steered by what a user typed."""

import io
import re
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from fractionkit.cli.tables.assess import MOST_ROWS, show
from fractionkit.quantities import Estimate, Flag
from tests.report.sample import TERNARY, bare, hostile, sample

FIVE = (*TERNARY, "chloroform", "cis-1,2-dichloroethylene")
RUNS = {
    "binary": lambda: sample(),
    "ternary": lambda: sample(TERNARY, count=30),
    "hostile": hostile,
    "no_target": lambda: sample(target=False),
    "no_lot": lambda: sample(lot=False),
    "bare": bare,
}


def shown(run, width: int, **settings) -> str:
    out = io.StringIO()
    show(run, Console(file=out, width=width, highlight=False, **settings))
    return out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 100, 120, 200])
@pytest.mark.parametrize("name", list(RUNS))
def test_nothing_is_wider_than_the_terminal_and_no_figure_is_cut(name, width):
    run = RUNS[name]()
    text = shown(run, width)
    assert max(map(cell_len, text.splitlines())) <= width
    table = text[text.index("decision") : text.index("balance")]
    for cut in run.cuts:
        assert cut.decision in table
    if width >= 80:
        assert ("head, °C" in text) == (name != "bare")  # where no head temperature was read, nothing is said of them
        if name in {"binary", "ternary"}:
            for cut in run.cuts:
                assert f"\n{cut.name}" in table
                assert f"{1000 * cut.mass:.1f}" in table


def test_components_stand_side_by_side_where_they_fit():
    assert "trichloroethylene   tetrachloroethylene" in shown(sample(), 100)
    assert re.search("1,2-dichloroethane +trichloroethylene +tetrachloroethylene", shown(sample(TERNARY), 120))
    stacked = shown(sample(TERNARY), 80)
    assert "wt% (95 % interval)" in stacked
    assert len(re.findall(r" 1,2-dichloroethane {2,}<?\s?\d", stacked)) == 9  # whole names, even here


@pytest.mark.parametrize("width", [76, 80, 90, 100, 120])
def test_names_of_components_are_whole_in_either_layout(width):
    pair = ("1,1,1-trichloroethane", "carbon tetrachloride")
    run = sample()
    cuts = tuple(replace(cut, composition=dict.fromkeys(pair, Estimate(0.301, 0.195, 0.408))) for cut in run.cuts)
    table = shown(replace(run, components=pair, cuts=cuts, portions=()), width).partition("lot ")[0]
    assert all(name in table for name in pair)
    assert "…" not in table


def test_while_the_readings_are_at_odds_nothing_is_decided():
    run = sample(lot=False)
    odd = replace(run, flags=(*run.flags, Flag("readings_at_odds", "The readings are at odds.")))
    text = " ".join(shown(odd, 100).split())
    assert "No lot is to be relied on" in text
    assert "find out why and measure again" in text
    assert not re.search(r"\b(Nothing meets|Nothing can be kept)", text)
    table = shown(odd, 100).partition("balance")[0]
    assert not re.search(r" (keep|recycle|redistil|waste)\s*$", table, re.MULTILINE)


def test_answer_and_what_goes_with_it():
    text = " ".join(shown(sample(), 100).split())
    for part in (
        "The lot meets the target", "449.4 g of 99.33 (99.01–99.59) wt%", "is 97.3 %", "Recovered tetrachloroethylene",
        "not tested", "stabiliser", "2 cuts (C5 and C6), 278.1 g", "charge 1421.3 ± 2.0 g",
        "loss 37.0 (34.0 to 40.0) g",
        "The readings agree", "thermometer reads 0.52 K low", "reduced to sea level", "* C3: No density was read",
        "6 cautions",
        "Local rules and licensed practice come first.",
    ):  # fmt: skip
        assert part in text
    assert "Nothing can be kept" in " ".join(shown(sample(lot=False), 80).split())
    assert "No target was given" in " ".join(shown(bare(), 80).split())


def test_user_text_is_neither_markup_nor_a_command_to_the_terminal():
    run = sample(names=["[red]x[/red]", "\x1b[2Jgone", *(f"C{k}" for k in range(3, 10))], title="[bold]t[/bold]\x07")
    text = shown(run, 120, force_terminal=True, color_system=None)
    assert "[red]x[/red]" in text
    assert "[2Jgone" in text
    assert "[bold]t[/bold]" in text
    assert "\x07" not in text
    assert "\x1b[2J" not in text


def test_many_cuts_are_listed_at_both_ends_and_the_gap_is_said():
    run = sample(count=10_000)
    text = shown(run, 100)
    assert "\nC1 " in text
    assert "\nC10000 " in text
    assert "\nC5000 " not in text
    assert f"{10_000 - MOST_ROWS} cuts in the middle are not listed" in text
    assert len(text.splitlines()) < 130


def test_a_console_of_an_old_code_page_is_enough():
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="cp1252")
    show(sample(), Console(file=stream, width=80, highlight=False))
    stream.flush()
    assert "99.33 (99.01–99.59) wt%" in raw.getvalue().decode("cp1252")
    stream.close()


def test_five_components():
    run = sample(FIVE[:3])
    estimate = next(iter(run.cuts[0].composition.values()))
    cuts = tuple(replace(cut, composition=dict.fromkeys(FIVE, estimate)) for cut in run.cuts)
    text = shown(replace(run, components=FIVE, cuts=cuts, portions=()), 80)
    assert text.count("chloroform") >= 9
    assert max(map(cell_len, text.splitlines())) <= 80
